"""Readers of survey files, one for each kind of file.

A reader has `recognises(head)` for a file's first bytes and `read(source, into)`. A row that cannot be read becomes a
remark and costs no other row.
"""
