"""The phases of one port: cable in, cable out, cable in again.

`sequence` takes a port through `phase_in`, `phase_out` and `phase_back`, and asks for its settings on the
way. The phases are generators that the prober resumes at every look; they set the fields of `state`, which
builds on the probes and answers of the port (`answers`) and holds the pull in progress (`pull`). `controls` are the
other addresses that must go on answering during a silence, `connector` tells in which connector the cable is, and
`cabling` which cables move between two ports. `head_start` asks the next port while this one comes back. `observe`
converts the state into the judge's input.
"""
