"""Reports and results as plain text and terminal tables.

tabulate lays out tables for pipes and files: it neither cuts nor wraps a cell, so programs can read these lines too.
`findings_screen` and `subnet_map` draw for a terminal only, with rich. If a table must fit the width of a terminal, its
module gives the longest column the width that the other columns leave, because rich would break addresses and subjects.
"""
