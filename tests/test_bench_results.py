"""Tests of the page of benchmark results: its sections are replaced one by one, in a fixed order."""

from __future__ import annotations

from tests.bench.results import HEAD, with_section


def test_a_section_is_added_in_alphabetical_order() -> None:
    """A new section is inserted in alphabetical order, and the other sections stay as they are."""
    page = with_section(with_section(HEAD, "Wire", "one"), "Paper check", "two")
    assert page == f"{HEAD}\n## Paper check\n\ntwo\n\n## Wire\n\none\n"


def test_a_section_is_replaced() -> None:
    """A section is replaced by the figures of the last run."""
    page = with_section(with_section(HEAD, "Wire", "one"), "Wire", "two")
    assert page == f"{HEAD}\n## Wire\n\ntwo\n"
