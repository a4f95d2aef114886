"""Reports and results as plain text and terminal tables.

Tables for pipes and files are laid out by tabulate: it neither cuts nor wraps a cell, and programs read these lines as
well. `findings_screen` and `subnet_map` draw for a terminal only, with rich. Where a table must fit the width of a
terminal, its module gives the longest column what the others leave, because rich would break addresses and subjects.
"""
