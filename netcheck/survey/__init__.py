"""What is already on the site: the hosts that the site's own lists name.

`read` selects a reader from `readers/` by the content of a file. The reader fills a `Gathering` (`gathering`), which
becomes a `Survey` (`model`). The hosts of a survey are stored in columns of numbers (`host_columns`); a `HostTable`
(`host_table`) finds them by address, MAC or name. `merge` combines several lists.
"""
