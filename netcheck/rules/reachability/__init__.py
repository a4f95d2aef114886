"""Finds out whether packets arrive.

`routers` has segments and routers. `trace` finds the path of packets within an island. `translate` finds the paths of
a conversation in both directions, also through translating routers.
"""
