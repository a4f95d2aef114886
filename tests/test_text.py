"""Tests of text made safe to display: control, bidirectional and invisible characters become visible."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.text import flowing, listed, safe


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("\x1b]0;title\x07", "\\x1b]0;title\\x07"),  # OSC: ECMA-48 section 8.3.89, from memory
        ("\x9b31m", "\\x9b31m"),  # CSI in one byte: ECMA-48 section 4.1.2
        ("a\nb\r\tc", "a\\x0ab\\x0d\\x09c"),
        ("\u202eexe.txt", "\\u202eexe.txt"),  # right-to-left override
        ("\ufeffname\u200b", "\\ufeffname\\u200b"),
        ("\ud800", "\\ud800"),
        ("\U000e0041", "\\U000e0041"),
        ("plain, Kühlung 5 °C", "plain, Kühlung 5 °C"),
    ],
)
def test_unsafe_characters_are_shown(text: str, shown: str) -> None:
    """Each unsafe character is replaced by its escape, and plain text is unchanged."""
    assert safe(text) == shown


@given(st.text())
def test_no_control_character_is_left(text: str) -> None:
    """No control, format or surrogate character is left, and long text is cut with a mark."""
    shown = safe(text, 50)
    assert not {unicodedata.category(letter) for letter in shown} & {"Cc", "Cs"}
    assert not any("\u202a" <= letter <= "\u202e" or "\u2066" <= letter <= "\u2069" for letter in shown)
    assert len(text) <= 50 or shown.endswith("\u2026")


@pytest.mark.parametrize(
    ("items", "prose"),
    [
        ([], "none"),
        (["a"], "a"),
        (["a", "b"], "a and b"),
        (["a", "b", "c"], "a, b and c"),
        (list("abcdefgh"), "a, b, c, d, e, f and 2 more"),
    ],
)
def test_lists_as_prose(items: list[str], prose: str) -> None:
    """A list is joined with commas and one `and`; from the seventh item on, the rest is counted."""
    assert listed(items) == prose


def test_the_lines_of_a_paragraph_are_joined() -> None:
    """The lines of a paragraph are joined and paragraphs stay separate, so that any terminal can wrap them."""
    assert flowing("One line.\n\n    Two lines\n    of it.\n    ") == "One line.\n\nTwo lines of it."
