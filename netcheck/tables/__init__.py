"""Tables as delimited text and as workbooks, whatever they hold.

`delimited` reads CSV as numbered records and guards written text against being read as a formula, `columns` reads clean
tables by columns, `workbook_read` opens workbooks within limits, `workbook_edit` changes single cells.
"""
