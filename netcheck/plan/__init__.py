"""What is intended: the plan's model, its readers and its writers.

`read` picks a form (`forms/`: TOML, CSV tables, a workbook) that turns files into tables, and hashes the bytes as they
are read. `shapes` finds every structural fault of the tables at once, with pydantic; `build` makes the model (`model`).
A value that cannot be read as an address is not a structural fault: it is a `Cell` without a value, and a rule reports
it. `schema` derives a JSON Schema from the shapes: a new table of the plan is one line in its `ENTRIES`. `write/`
changes addresses and accepted findings and starts new plans; every other value of a file is kept.

A clean table of interfaces is read column by column (`forms/csv_table`). One row that needs a message sends the
table to the reader of single rows; a test holds both readers to the same result. `row_hashes` has the hash of one
interface's row, by which a record knows whether a proof still applies after the plan changed.
"""
