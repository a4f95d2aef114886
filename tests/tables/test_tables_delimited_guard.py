"""No guarded text begins like a formula, and `unguarded` gives every text back unchanged."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.tables.delimited import guarded, unguarded

# The first characters in the lists of OWASP CSV Injection, ASVS 5.0 requirement 1.2.10 and CWE-1236.
STARTS = "=+-@\t\r\n\0"
TEXT = st.text(max_size=20) | st.text(alphabet="'=+-@\t\r\n\0a1", max_size=8)


@given(TEXT)
def test_unguarded_undoes_guarded(text: str) -> None:
    """Every text is the same after both functions."""
    assert unguarded(guarded(text)) == text


@given(TEXT)
def test_nothing_begins_like_a_formula(text: str) -> None:
    """No guarded text begins with a character of the lists."""
    assert guarded(text)[:1] not in list(STARTS)


@pytest.mark.parametrize("text", ["plc-1", "10.62.20.61", "it's", "'quoted'", "", "a=b", " =1"])
def test_plain_text_is_not_changed(text: str) -> None:
    """Neither function changes a text that needs no guard."""
    assert guarded(text) == text
    assert unguarded(text) == text


# The two worked examples of the OWASP CSV Injection page.
@pytest.mark.parametrize(
    ("text", "field"),
    [
        pytest.param('=1+2";=1+2', '"\'=1+2"";=1+2"', id="double-quote"),
        pytest.param("=1+2'\" ;,=1+2", '"\'=1+2\'"" ;,=1+2"', id="both-quotes"),
    ],
)
def test_worked_examples(text: str, field: str) -> None:
    """With guard and quotes, the field is the published one."""
    out = io.StringIO()
    csv.writer(out, quoting=csv.QUOTE_ALL).writerow([guarded(text)])
    assert out.getvalue() == field + "\r\n"
