"""Work on site that needs both the plan and the wire.

`listen.py` keeps what received frames tell about hosts, in bounded memory; `sweep.py` asks every address of a prefix
and tells owners from proxy ARP; both return a `Discovery` (`discovery.py`). `identify.py` finds the address of a used
device on a direct cable, and `modbus_identity.py` asks a proven device who it is. `readiness_facts.py` gathers facts of
this computer, such as planned addresses that it has itself, and `readiness.py` judges them: a check is one function and
one row of `CHECKS`. `first_look.py` asks a few planned addresses before the first cable.
"""
