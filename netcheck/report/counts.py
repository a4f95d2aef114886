"""Counts of addresses in words that people can read, also where IPv6 makes them very large."""

from __future__ import annotations

_PLAIN = 10**12  # below it a number is written out


def count_words(number: int) -> str:
    """The number with separators, or the nearest power of two."""
    return f"{number:,}" if number < _PLAIN else f"about 2^{(number + number // 2).bit_length() - 1}"
