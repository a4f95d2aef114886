"""Readers of survey files, one for each kind of file.

`table` reads tables of hosts, and hands tables of DNS records to `dns_table` and merged lists of netcheck to `merged`;
`workbook` hands each sheet to `table`. `zone` recognises a zone, and `zone_records` reads it with dnspython. `header`
finds the columns of a table, `values` reads cells.

A reader has `recognises(head)` for a file's first bytes and `read(source, into)`. A row that cannot be read becomes a
remark and costs no other row.
"""
