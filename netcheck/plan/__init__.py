"""What is intended: the plan's model, its readers and its writers.

`read` selects a form (`forms/`: TOML, CSV tables, a workbook), which turns files into tables, and hashes the bytes as
they are read. `shapes` validates the tables with pydantic and finds all structural faults at once. `build` makes the
model (`model`). A value that cannot be read as an address is not a structural fault: it becomes a `Cell` without a
value, and a rule reports it. `schema` derives a JSON Schema from the shapes; a new table of the plan needs one line in
its `ENTRIES`. `write/` changes addresses and decisions and starts new plans; it keeps every other value of a file.

A table of interfaces without faults is read column by column (`forms/csv_table`). If one row needs a message, the whole
table is read row by row; a test checks that both readers give the same result. `row_hashes` computes the hash of each
interface's row. A record stores this hash, so that a report can tell whether a proof still applies to a changed plan.
"""
