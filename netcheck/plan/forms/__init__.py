"""Readers of the forms of a plan; each turns files into the tables of `plan/entries.py`.

`toml_plan` reads `plan.toml` and, with `csv_table`, the CSV tables that it names. `csv_table` reads a table of
interfaces without faults column by column. `workbook_plan` reads a workbook sheet by sheet with the same functions.
"""
