"""The links: one module for each way in which the operating system sends and receives frames.

`raw` uses packet sockets (Linux), `portable` uses scapy's sockets (every system), `unprivileged` uses echo sockets
without rights (Linux). To add a link, derive a class from `base.SocketLink` and add a name to `open.py`.
"""
