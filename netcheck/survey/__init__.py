"""What is already on the site: site hosts from the site's lists.

`read` picks a reader from `readers/` by the content of a file; the reader fills a `Gathering`, which becomes a `Survey`
with its `HostTable`. `merge` combines several lists.
"""
