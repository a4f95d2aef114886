"""Readers of survey files, one for each kind of file.

`table` reads tables of hosts. It passes tables of DNS records, tables of DHCP ranges and merged lists of netcheck to
`special_tables`. `workbook` passes each sheet to `table`. `zone` recognises a zone, and `zone_records` reads it with
dnspython. `header` finds the columns of a table, `values` reads cells.

Each reader has `read(source, into)`. A row that cannot be read becomes a remark; all other rows are still read. A
reader of text has `recognises(head)`, which judges a file's first bytes; `survey.read` recognises binary files by their
magic numbers.
"""
