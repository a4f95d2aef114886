"""The map in letters: rows that fit, what a letter stands for, and conflicts that stay in their island."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from netcheck.addr import Address, Prefix
from netcheck.cli.map import draw
from netcheck.plan.reading import read_plan
from netcheck.report.map_text import to_text
from netcheck.rules.engine import check
from netcheck.space.cells import Cells, Use
from netcheck.survey.reading import read_surveys

ISLANDS = """format = 1
[site]
name = "Two of a kind"
[[subnet]]
name = "left"
prefix = "10.62.20.0/27"
[[subnet]]
name = "right"
prefix = "10.62.20.0/27"
island = "other"
"""
INTERFACE = '[[device]]\nname = "{}"\n[[device.interface]]\nname = "lan"\nsubnet = "{}"\naddress = "{}"\n'


def every_use(text: str = "10.62.20.0/24") -> Cells:
    """Cells of all uses in turn."""
    prefix = Prefix.from_text(text)
    block = max(1, prefix.size // 1024)
    uses = list(Use)
    return Cells(prefix, block, tuple(uses[n % len(uses)] for n in range(prefix.size // block)))


def drawn(folder: Path, plan: str, only: str = "") -> str:
    """The map of a plan, as the command draws it."""
    (folder / "plan.toml").write_text(plan, "utf-8")
    read = read_plan(folder)
    surveys = read_surveys(read)
    return draw(read, surveys, check(read, surveys, date(2026, 11, 2)), only, 80)


@pytest.mark.parametrize("width", [60, 80, 84, 87, 88, 89, 120, 200])
@pytest.mark.parametrize("text", ["10.62.20.0/24", "10.0.0.0/8", "203.0.113.0/28"])
def test_lines_fit_the_terminal(text: str, width: int) -> None:
    """Rows, heading and legend keep within the columns there are; all cells are there, in order."""
    cells = every_use(text)
    lines = to_text("process", cells, width).splitlines()
    assert max(map(len, lines)) <= width
    rows = [line for line in lines[1:] if line[:15].strip().replace(".", "").isdigit()]
    assert "".join(row[17:] for row in rows).replace(" ", "") == "".join(cells.uses)
    across = 64 if width >= 88 else 32
    assert all(len(row[17:].replace(" ", "")) == min(across, len(cells.uses)) for row in rows)


def test_each_row_begins_with_its_address() -> None:
    """Also where a letter stands for a block, and the heading says of how many."""
    lines = to_text("hall", every_use("10.0.0.0/16"), 80).splitlines()
    assert lines[0] == "hall  10.0.0.0/16, a letter stands for 64 addresses"
    rows = [line for line in lines if line[:15].strip().startswith("10.0.")]
    starts = [Address.from_text(row[:15].strip()).value for row in rows]
    assert starts == [Address.from_text("10.0.0.0").value + n * 32 * 64 for n in range(32)]


def test_the_legend_names_what_is_shown_and_nothing_else() -> None:
    """Letters, words and counts of the uses that occur."""
    cells = Cells(
        Prefix.from_text("192.0.2.0/29"), 1, (Use.UNUSABLE, *[Use.FREE] * 4, *[Use.PLANNED] * 2, Use.UNUSABLE)
    )
    assert to_text("x", cells, 80).splitlines()[2] == "  P planned (2), - not usable (2), . free (4)"
    legend = " ".join(line.strip() for line in to_text("x", every_use(), 80).splitlines()[-3:])
    assert all(f"{use.value} {use.word} (" in legend for use in Use)
    assert len({use.value for use in Use}) == len(Use)  # told apart by letter, not by colour


def test_a_name_from_outside_is_text() -> None:
    """A subnet's name moves no terminal."""
    assert to_text("x\x1b[2J", every_use(), 80).splitlines()[0] == "x\\x1b[2J  10.62.20.0/24"


def test_a_conflict_stays_in_its_island(tmp_path: Path) -> None:
    """Planned twice in one island is a conflict there; the same address in another island is planned, and well."""
    plan = ISLANDS + INTERFACE.format("a", "left", "10.62.20.5") + INTERFACE.format("b", "left", "10.62.20.5")
    plan += INTERFACE.format("c", "right", "10.62.20.5")
    left, right = drawn(tmp_path, plan).split("\n\n")
    assert left.splitlines()[1].split(maxsplit=1)[1] == "-....X.. ........ ........ .......-"
    assert right.splitlines()[1].split(maxsplit=1)[1] == "-....P.. ........ ........ .......-"


def test_one_subnet_alone(tmp_path: Path) -> None:
    """Only the subnet that was named is drawn."""
    assert drawn(tmp_path, ISLANDS, "right").startswith("right  10.62.20.0/27\n")
    assert drawn(tmp_path, ISLANDS, "right").count("10.62.20.0/27") == 1


def test_what_cannot_be_drawn_is_said(tmp_path: Path) -> None:
    """A prefix that cannot be read, and one of IPv6 that is too large; an unreadable address hurts nothing."""
    plan = ISLANDS + '[[subnet]]\nname = "typo"\nprefix = "10.62.20.0/99"\n'
    plan += '[[subnet]]\nname = "six"\nprefix = "2001:db8::/64"\n' + INTERFACE.format("a", "left", "10.62.20.05")
    text = drawn(tmp_path, plan)
    assert "typo: its prefix cannot be drawn (10.62.20.0/99)" in text
    assert "six: its prefix cannot be drawn (2001:db8::/64)" in text
    assert "left  10.62.20.0/27" in text
