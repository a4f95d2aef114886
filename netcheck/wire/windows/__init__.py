"""Interfaces that only Windows offers: adapters, routes, neighbours, echo requests and the capture driver's state.

`structures.py` holds the structures of iphlpapi.dll, and `iphlpapi.py` its calls, which any user may make; both use the
names of Windows. `adapters.py` makes interfaces, routes and carrier changes of them, `unprivileged.py` a link.
`packet_driver` says why frames cannot be captured.
"""
