"""Frames and links: how frames leave this computer's interfaces and arrive on them.

`link.py` is the contract: a link sends and receives frames, reports carrier changes, dropped frames and suspends, and
has the only clock. It interprets no frame. `links/` holds one module for each way to reach the wire; the simulated
bench is a link as well. `linux/`, `windows/` and `macos.py` hold what only one system offers. Windows and macOS report
the carrier only on request, and share `links/base.PolledCarrier`. `frames.py` and `modbus.py` build and read bytes;
readers accept any bytes and return None for a malformed frame. `capture.py` reads and writes capture files.
`station.py` lists this computer's interfaces, and `system_errors.py` turns errors of the system into messages.

An *adapter* is one interface of this computer that a link uses: adapter 0 is the interface under test.

Every time is CLOCK_MONOTONIC; kernel time stamps are wall-clock times, and `clock.py` converts them batch by batch.
`clock.py` also detects suspends. `send` returns the time just before the call, because on a short cable the reply
arrives before the call returns. On Linux the carrier comes from netlink events and from a request every 20 ms; on the
other systems it comes from a request every 100 ms.
"""
