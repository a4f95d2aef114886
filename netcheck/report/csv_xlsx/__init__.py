"""Tables as CSV files (`csv_tables`) and as the workbook in which findings are answered (`workbook`)."""
