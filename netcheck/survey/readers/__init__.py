"""Readers of survey files, one for each kind of file."""
