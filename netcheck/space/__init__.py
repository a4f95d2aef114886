"""Arithmetic on address space: intervals, free gaps, suggestions."""
