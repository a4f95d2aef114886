"""Readers of survey files, one for each kind of file.

`table` reads tables of hosts. It passes tables of DNS records to `dns_table`, tables of DHCP ranges to `range_table`
and merged lists of netcheck to `merged`. `workbook` passes each sheet to `table`. `zone` recognises a zone, and
`zone_records` reads it with dnspython. `header` finds the columns of a table, `values` reads cells.

Each reader has `recognises(head)`, which judges a file's first bytes, and `read(source, into)`. A row that cannot be
read becomes a remark; all other rows are still read.
"""
