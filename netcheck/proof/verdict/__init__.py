"""From what was observed at a port to its verdict. Pure.

`observation` is the judge's input, `rows` the table's rows with their sentences, `judge` the table itself.
`silence_rule` says how long a silence must last, and computes the chances that it states. `names` says whose a MAC is.
"""
