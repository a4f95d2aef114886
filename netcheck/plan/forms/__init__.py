"""Readers of the forms of a plan: TOML, CSV tables, a workbook."""
