"""Keeps text in CSV files and workbooks from being read as a formula, and undoes that on reading."""

from __future__ import annotations

import re

# Union of the lists of OWASP (CSV Injection), ASVS 5.0 requirement 1.2.10 and CWE-1236; the last four are the
# full-width forms of = + - @, which some spreadsheets treat alike (from memory).
_STARTS = "=+\\-@\t\r\n\0＝＋－＠"
_GUARD_NEEDED = re.compile(f"'*[{_STARTS}]")
_GUARD_THERE = re.compile(f"'+[{_STARTS}]")


def guarded(text: str) -> str:
    """Return text with a single quote before it where a spreadsheet could take it for a formula."""
    return "'" + text if _GUARD_NEEDED.match(text) else text


def unguarded(text: str) -> str:
    """Undo `guarded`: `unguarded(guarded(text)) == text` for any text."""
    return text[1:] if _GUARD_THERE.match(text) else text
