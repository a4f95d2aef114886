"""Whether packets arrive: `routers` has segments and routers, `trace` finds the path of a conversation in both
directions, `translate` follows it through translating routers.
"""
