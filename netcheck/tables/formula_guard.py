"""Keeps text from becoming a formula in CSV files and workbooks, and takes the guard off when they are read back."""

from __future__ import annotations

import re

# Union of the lists of OWASP (CSV Injection), ASVS 5.0 requirement 1.2.10 and CWE-1236; the last four are the
# full-width forms of = + - @, which some spreadsheets take for the same (from memory).
_STARTS = "=+\\-@\t\r\n\0＝＋－＠"
_GUARD_NEEDED = re.compile(f"'*[{_STARTS}]")
_GUARD_THERE = re.compile(f"'+[{_STARTS}]")


def guarded(text: str) -> str:
    """Put a single quote before text that a spreadsheet could take for a formula; leave all other text as it is."""
    return "'" + text if _GUARD_NEEDED.match(text) else text


def unguarded(text: str) -> str:
    """Take off what `guarded` put on: `unguarded(guarded(text)) == text` for any text."""
    return text[1:] if _GUARD_THERE.match(text) else text
