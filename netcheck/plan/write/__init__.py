"""Writers of plan files; every value that is not to change is kept, with its layout.

`addresses` changes single values of interfaces in all forms of a plan, `decisions` adds accepted findings and other
decisions, `new_subnets` adds subnets; `workbook_changes` makes these changes in workbooks. `new_plan` starts new plans,
as files or as a workbook.
"""
