"""What Windows offers: for any user adapters, routes, neighbours and echo requests, and the capture driver's state.

`structures.py` has the structures of iphlpapi.dll, and `iphlpapi.py` its calls; both name things as Windows does.
`adapters.py` turns them into interfaces, routes and carrier changes, `unprivileged.py` into a link. `driver.py` says
why frames cannot be captured.
"""
