"""Tables as CSV files and workbooks."""
