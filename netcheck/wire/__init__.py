"""Frames and links: everything that passes an interface, and how.

`link.py` is the contract: a link sends and receives frames, reports carrier changes, drops and suspends, and has the
one clock. It interprets no frame. `links/` holds one module for each way to reach the wire; the simulated bench is a
link as well. `linux/`, `windows/` and `macos.py` are what one system offers; The two that report the carrier only on
request share `links/base.PolledCarrier`. `frames.py` and `modbus.py` build and read bytes; readers take any bytes and
return None for what is not well formed. `capture.py` reads and writes capture files. `station.py` lists this computer's
interfaces, and `system_errors.py` turns errors of the system into messages.

An *adapter* is one interface of this computer that a link uses: adapter 0 is the interface under test.

Every time is CLOCK_MONOTONIC; kernel stamps are wall-clock times and are converted for each batch (`clock.py`, which
detects suspends as well). `send` returns the time just before the call, because on a short cable the reply arrives
before the call returns. The carrier comes from netlink events and a request every 20 ms on Linux, elsewhere from a
request every 100 ms.
"""
