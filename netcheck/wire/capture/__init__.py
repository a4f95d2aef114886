"""Capture files."""
