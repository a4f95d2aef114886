"""The reviewer's decisions: the table that is filled in, how it is read, and what it changes in the plan.

`table` has the columns and the decisions. `read` finds columns by title and reads a workbook without its computed
values, so that a formula is not an answer. `apply` is pure: it finds the finding of a row by key, else by rule,
subjects and address, and decides what the row changes. `grants` does the same with requests to IT that were granted or
refused.
"""
