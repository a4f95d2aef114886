"""Tests of the page of benchmark results: its sections, their order, and the figures that the README quotes."""

from __future__ import annotations

import re
from pathlib import Path

from tests.bench.results import HEAD, with_section

ROOT = Path(__file__).parents[1]


def test_a_section_is_added_in_alphabetical_order() -> None:
    """A new section is inserted in alphabetical order, and the other sections stay as they are."""
    page = with_section(with_section(HEAD, "Wire", "one"), "Paper check", "two")
    assert page == f"{HEAD}\n## Paper check\n\ntwo\n\n## Wire\n\none\n"


def test_a_section_is_replaced() -> None:
    """A section is replaced by the figures of the last run."""
    page = with_section(with_section(HEAD, "Wire", "one"), "Wire", "two")
    assert page == f"{HEAD}\n## Wire\n\ntwo\n"


def test_the_readme_has_the_figures_of_the_last_campaign() -> None:
    """The figures in brackets under "What a proof cannot show" are those of the table that the campaign wrote."""
    written = (ROOT / "tests" / "bench" / "RESULTS.md").read_text("utf-8")
    rows = written.partition("## Truth campaign: indistinguishable cases")[2].partition("\n## ")[0].splitlines()
    table = [[cell.strip() for cell in row.strip("|").split("|")] for row in rows if row.startswith("| ")][1:]
    cases = (ROOT / "README.md").read_text("utf-8").partition("### What a proof cannot show")[2].partition("\n### ")[0]
    quoted = re.findall(r"\((\d+)\s+of\s+(\d+)\)", cases)
    assert len(quoted) > 10
    assert sorted(quoted) == sorted((proven, ports) for _, ports, proven, _ in table)
