"""From the observation of a port to its verdict. Pure functions.

`observation` is the judge's input, `judge` the table of verdicts, and `rows` holds the rows of the table with their
sentences. `silence_rule` says how long a silence must last, and computes the chances that a proof states. `names`
returns what is known of a MAC.
"""
