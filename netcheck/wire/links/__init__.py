"""The links, one module for each way in which the operating system lets frames leave and arrive.

`raw` uses packet sockets (Linux), `portable` uses scapy's sockets (every system), `unprivileged` uses echo sockets
without rights (Linux). To add one: derive from `base.SocketLink`, and add a name to `open.py`.
"""
