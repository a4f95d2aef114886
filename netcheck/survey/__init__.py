"""What is already on the site: site hosts from the site's lists.

`read` picks a reader from `readers/` by the content of a file; the reader fills a `Gathering` (`gathering`), which
becomes a `Survey` (`model`). Its hosts are kept as columns of numbers (`host_columns`), and looked up by address, MAC
or name in a `HostTable` (`host_table`). `merge` combines several lists.
"""
