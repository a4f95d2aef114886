"""Work on site that needs both the plan and the wire.

| module | what it does |
|---|---|
| `listen` | finds hosts in the frames that it receives, in bounded memory; sends nothing |
| `sweep` | sends ARP requests to every address of a prefix; distinguishes owners from proxy ARP |
| `discovery` | the result of both |
| `identify` | finds the address of a used device on a direct cable |
| `modbus_identity` | asks a proven device for its identity |
| `readiness_facts` | gathers facts of this computer, for example planned addresses that it has itself |
| `readiness` | judges these facts; a check is one function and one row of `CHECKS` |
| `first_look` | sends ARP requests to a few planned addresses before the first pull |
"""
