"""A simulated bench in virtual time: a link like any other, with devices, switches, cables and faults behind it.

`network` has cables, segments and the clock, which moves only while somebody waits; `devices` answer as network stacks
do, with the faults that mislead a test by hand; `technicians` move cables and press keys when an event asks for it;
`plant` builds a whole plan to rehearse. `scenario` is one run as data; `bench` builds it, runs it and keeps its
physical `history`; `truth` decides from that history alone whether a verdict of `proven` is deserved, and never asks
the judge. `draw` draws scenarios, at random or for a search of false proofs. `campaign/` runs thousands of sites and
counts. The same seed gives the same bytes on any number of processes.
"""
