"""Turns the list of devices that an integrator keeps in a spreadsheet into a plan.

`titles` knows the titles of lists; `columns` finds those of a table, and tells other columns by their cells. `rows`
reads the tables of a file and makes one interface of each row, `subnets` derives the subnets from addresses, masks and
gateways, and `device_list` puts these together and makes the plan's files. Everything guessed or not used becomes a
remark.
"""
