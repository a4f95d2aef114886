"""The page of benchmark results: a section is replaced, the others are kept, and their order is fixed."""

from __future__ import annotations

from tests.bench.results import HEAD, with_section


def test_a_section_is_added_in_alphabetical_order() -> None:
    """Sections that a script has not written stay as they are."""
    page = with_section(with_section(HEAD, "Wire", "one"), "Paper check", "two")
    assert page == f"{HEAD}\n## Paper check\n\ntwo\n\n## Wire\n\none\n"


def test_a_section_is_replaced() -> None:
    """The figures of the last run are the only ones kept."""
    page = with_section(with_section(HEAD, "Wire", "one"), "Wire", "two")
    assert page == f"{HEAD}\n## Wire\n\ntwo\n"
