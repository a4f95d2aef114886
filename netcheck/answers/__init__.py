"""The reviewer's decisions: the table that the reviewer fills in, its reader, and the changes to the plan.

`table` has the columns and the decisions. `read` finds columns by title. It reads a workbook without computed values,
so that a formula is never an answer. `apply` is pure: it finds the finding of a row by its key, or by rule, subjects
and address, and decides what the row changes. `grants` does the same for requests to IT that were granted or refused.
"""
