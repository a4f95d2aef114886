"""Tables as text and workbooks: delimited rows, columns, cells."""
