"""Tables as delimited text and as workbooks, whatever they hold.

`delimited` reads CSV as numbered records, `columns` reads clean tables by columns, `workbook_read` opens workbooks
within limits, `workbook_edit` changes single cells, `formula_guard` keeps text from becoming a formula.
"""
