"""Tests of text made safe to display: control, bidirectional and invisible characters become visible."""

from __future__ import annotations

import re
import subprocess
import sys
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.text import Pattern, flowing, listed, safe


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
    assert flowing("Keys.\n\n    Keys:\n      q  stop\n      s  skip\n    ") == "Keys.\n\nKeys:\n  q  stop\n  s  skip"


@given(st.text("ab-1 ", max_size=12))
def test_a_pattern_finds_what_re_finds(text: str) -> None:
    """Every method returns what the standard library's compiled pattern returns (the `re` module)."""
    ours, theirs = Pattern(r"([a-z])-?(\d*)", re.ASCII), re.compile(r"([a-z])-?(\d*)", re.ASCII)
    for name in ("fullmatch", "match", "search"):
        mine, its = getattr(ours, name)(text), getattr(theirs, name)(text)
        assert (mine and mine.groups()) == (its and its.groups())
    assert [found.span() for found in ours.finditer(text)] == [found.span() for found in theirs.finditer(text)]
    assert ours.findall(text) == theirs.findall(text)
    assert ours.split(text, 1) == theirs.split(text, 1)
    assert ours.sub(r"<\1>", text) == theirs.sub(r"<\1>", text)


def test_a_pattern_is_compiled_at_its_first_use() -> None:
    """A faulty pattern raises nothing until it is used; its error is then that of `re`."""
    pattern = Pattern("(")
    with pytest.raises(re.error):
        pattern.search("")


COMPILED = """
import re, sys
compiled, compile_ = set(), re._compiler.compile
def noted(pattern, flags=0):
    caller = sys._getframe(1)
    while "/re/" in caller.f_code.co_filename or caller.f_globals["__name__"] == "netcheck.text":
        caller = caller.f_back
    compiled.add(caller.f_globals["__name__"])
    return compile_(pattern, flags)
re._compiler.compile = noted
import netcheck.app.check, netcheck.survey.readers.table
print(*sorted(name for name in compiled if name.startswith("netcheck")))
"""


def test_importing_a_check_compiles_no_pattern() -> None:
    """The modules of a check compile no regular expression when they are imported, except those for addresses.

    These are needed to read the registry of special-purpose addresses.
    """
    run = subprocess.run([sys.executable, "-c", COMPILED], capture_output=True, text=True, check=True)
    assert run.stdout.split() == ["netcheck.addr"]
