"""Writers of plan files; all other values of a file keep their text and layout.

`addresses` changes values of interfaces in all forms of a plan. `decisions` adds accepted findings and other decisions.
`new_subnets` adds subnets. `workbook_changes` makes these changes in workbooks. `new_plan` starts new plans, as files
or as a workbook.
"""
