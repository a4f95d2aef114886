"""Readers of the forms of a plan, each from files to the tables of `plan/entries.py`.

`toml_plan` reads `plan.toml`, and the CSV tables that it names with `csv_table`, which reads a clean table of
interfaces column by column. `workbook_plan` reads a workbook sheet by sheet with the same functions.
"""
