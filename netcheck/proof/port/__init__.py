"""The phases of one port: cable in, cable out, cable in again.

| module | what it does |
|---|---|
| `sequence` | takes a port through `phase_in`, `phase_out` and `phase_back`; finds its settings before the pull |
| `state` | the state of a port; the phases set its fields |
| `answers` | the base of `state`: evaluates the probes of the port |
| `pull` | the pull in progress |
| `controls` | the other addresses that must go on answering during a silence |
| `connector` | finds out which connector the cable is in |
| `cabling` | asks for the cables that must be moved between two ports |
| `head_start` | sends requests to the next port while this port comes back |
| `observe` | converts the state into the judge's input |

A phase is a generator. The prober resumes it at every step.
"""
