"""Tables as delimited text and as workbooks, whatever they hold.

`delimited` reads CSV as numbered records, or a clean table by columns, and keeps written text from being read as a
formula. `workbook_read` opens workbooks within limits, `workbook_edit` changes single cells.
"""
