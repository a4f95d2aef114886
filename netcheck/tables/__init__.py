"""Tables as delimited text and as workbooks, independent of their content.

`delimited` reads CSV as numbered records, or a table without faults by columns. It also guards written text, so that a
spreadsheet does not read it as a formula. `workbook_read` opens workbooks within limits. `workbook_edit` changes single
cells.
"""
