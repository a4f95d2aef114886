"""What each command does: it prepares, runs, shows and records; the command line only calls it.

`prepare` reads a plan and its surveys, checks the options that commands on site share, and asks for the permit;
`operator` joins a run to keys (`keyboard`), screen, sounds and the record; `progress` shows a bar. `survey` listens,
sweeps and merges lists of hosts. Each other module is the work of one command.
"""
