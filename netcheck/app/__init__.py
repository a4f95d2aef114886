"""The work of each command: prepare, run, show and record; the command line only calls it.

`prepare` reads a plan and its surveys, checks the options that commands on site share, and asks for the permit.
`operator` connects a run to keys (`keyboard`), screen, sounds and the record. `progress` shows a bar. `survey` listens,
sweeps and merges lists of hosts. Each other module does the work of one command.
"""
