"""A simulated bench in virtual time: a link like any other, with simulated devices, switches, cables and faults.

| module | what it does |
|---|---|
| `network` | cables, segments and the clock, which moves only while somebody waits |
| `devices` | devices that answer as network stacks do, with the faults that mislead a test by hand |
| `technicians` | move cables and press keys when an event asks for it |
| `plant` | builds the bench of a whole plan for a rehearsal |
| `scenario` | one run as data |
| `bench` | builds a scenario and runs it |
| `history` | computes from the recorded changes when each cable was in and each device alive |
| `truth` | decides from the history alone whether a port deserves `proven`; it does not use the judge |
| `random_scenarios` | draws scenarios, at random or for a search of false proofs |
| `campaign/` | runs thousands of sites and counts |

The same seed gives the same bytes, however many processes run.
"""
