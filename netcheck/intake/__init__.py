"""Makes a plan from the device list that an integrator keeps in a spreadsheet.

`titles` has the titles of such lists. `columns` finds the columns of a table by their titles, or by their cells if a
title is unknown. `rows` reads the tables of a file and makes an interface of each row. `subnets` derives the subnets
from addresses, masks and gateways. `device_list` combines these steps and makes the plan's files. Every guess, and
every row or cell that is not used, becomes a remark.
"""
