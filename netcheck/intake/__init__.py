"""Turns the list of devices that an integrator keeps in a spreadsheet into a plan.

`columns` finds the titles of a table, `rows` makes one interface of each row, `subnets` derives the subnets from
addresses, masks and gateways, `write` makes the plan's files. Everything guessed or not used becomes a remark.
"""
