"""Writers of plan files; every value that is not to change is kept, with its layout.

`addresses` changes single values of interfaces in all forms of a plan, `accepted` adds accepted findings, `new_subnets`
adds subnets; `workbook_changes` makes the first two for workbooks. `new_plan` and `new_workbook` start new plans.
"""
