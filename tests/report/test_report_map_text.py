"""Tests of the map in letters: rows that fit, the meaning of each letter, and conflicts within their island."""

from __future__ import annotations

import ipaddress
import re
from datetime import date
from pathlib import Path

import pytest

from netcheck.addr import Address, Prefix, Range
from netcheck.app.map import draw
from netcheck.plan.read import read_plan
from netcheck.report.text.subnet_map import list_to_text, to_text
from netcheck.rules.engine import check
from netcheck.space.intervals import single
from netcheck.space.map_cells import Cells, Holding, Use, gaps_of, holdings
from netcheck.space.occupancy import islands_of
from netcheck.survey.read import read_surveys

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
    """Return cells of all uses in turn."""
    prefix = Prefix.from_text(text)
    block = max(1, prefix.size // 256)
    uses = list(Use)
    return Cells(prefix, block, tuple(uses[n % len(uses)] for n in range(prefix.size // block)))


def drawn(folder: Path, plan: str, only: str = "") -> str:
    """Return the map of a plan as the command draws it."""
    (folder / "plan.toml").write_text(plan, "utf-8")
    read = read_plan(folder)
    surveys = read_surveys(read)
    return draw(read, surveys, check(read, surveys, date(2026, 11, 2)), only, 80)


GAP = [Range(4, 0x0A3E1464, 0x0A3E14C7)]


def letters(text: str) -> list[str]:
    """Return the cells of each row of a map, without the address and the text next to them."""
    rows = re.findall(r"^ *[0-9.]{7,15}((?: {1,2}\S(?!\S)){1,16})", text, re.MULTILINE)
    return [row.replace(" ", "") for row in rows]


@pytest.mark.parametrize("width", [50, 60, 64, 65, 80, 107, 108, 109, 140, 200])
@pytest.mark.parametrize("text", ["10.62.20.0/24", "10.0.0.0/8", "203.0.113.0/28", "192.0.2.1/32"])
def test_lines_fit_the_terminal(text: str, width: int) -> None:
    """All cells are drawn in order, sixteen in a row, and no line is wider than the terminal."""
    cells = every_use(text)
    shown = to_text("process", cells, GAP, width)
    assert max(map(len, shown.splitlines())) <= width
    rows = letters(shown)
    assert "".join(rows) == "".join(cells.uses)
    assert all(len(row) == 16 for row in rows[:-1])
    assert len(rows) <= 16


@pytest.mark.parametrize(("width", "is_wide"), [(80, False), (140, True)])
def test_gaps_and_legend_are_next_to_or_below_the_cells(width: int, is_wide: bool) -> None:
    """On a wide terminal, gaps and legend are to the right of the cells; on a narrow one, below them."""
    lines = to_text("process", every_use(), GAP, width).splitlines()
    assert (len(lines) == 18) == is_wide
    (gap,) = (line for line in lines if "10.62.20.100-10.62.20.199  (100)" in line)
    assert gap.startswith("   10.62.20.") == is_wide


def test_each_row_begins_with_its_address() -> None:
    """Each row begins with its address, also if a cell is a block; the heading gives the size of a block."""
    lines = to_text("hall", every_use("10.0.0.0/16"), [], 80).splitlines()
    assert lines[0] == "hall  10.0.0.0/16: a letter stands for 256 addresses, a row for 4,096"
    rows = [line for line in lines if line[:15].strip().startswith("10.0.")]
    starts = [Address.from_text(row[:15].strip()).value for row in rows]
    assert starts == [Address.from_text("10.0.0.0").value + n * 16 * 256 for n in range(16)]
    assert "no address is free" in lines[-1]


def test_the_legend_has_only_the_uses_in_the_map() -> None:
    """The legend has the letters, words and counts of the uses that occur."""
    uses = (Use.UNUSABLE, *[Use.FREE] * 4, *[Use.PLANNED] * 2, Use.UNUSABLE)
    lines = to_text("x", Cells(Prefix.from_text("192.0.2.0/29"), 1, uses), [], 80).splitlines()
    assert lines[3] == "  P planned (2)   - not usable (2)   . free (4)"
    blocks = to_text("x", Cells(Prefix.from_text("192.0.2.0/26"), 8, (Use.PLANNED, *[Use.FREE] * 7)), [], 80)
    assert blocks.splitlines()[2] == "  P planned (1 block)   . free (7 blocks)"
    legend = to_text("x", every_use(), [], 80)
    assert all(f"{use.value} {use.word} (" in legend for use in Use)
    assert len({use.value for use in Use}) == len(Use)  # distinguished by letter, not by colour


def test_colour_changes_no_letter() -> None:
    """Without its SGR escapes (ECMA-48 section 8.3.117), the coloured map equals the plain one."""
    plain, coloured = (to_text("x", every_use(), GAP, 140, colour=colour) for colour in (False, True))
    assert "\x1b[" not in plain
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured).splitlines() == plain.splitlines()
    assert coloured != plain


def test_a_name_from_outside_is_text() -> None:
    """Control characters in a subnet's name are shown as text."""
    assert to_text("x\x1b[2J", every_use(), [], 80).splitlines()[0] == "x\\x1b[2J  10.62.20.0/24"


def test_a_conflict_stays_in_its_island(tmp_path: Path) -> None:
    """An address planned twice in one island is in conflict; the same address in another island is planned."""
    plan = ISLANDS + INTERFACE.format("a", "left", "10.62.20.5") + INTERFACE.format("b", "left", "10.62.20.5")
    plan += INTERFACE.format("c", "right", "10.62.20.5")
    left, right = drawn(tmp_path, plan).split("\n\n")
    assert left.startswith("left (island site)  10.62.20.0/27\n")
    assert right.startswith("right (island other)  10.62.20.0/27\n")
    assert letters(left) == ["-....X..........", "...............-"]
    assert letters(right) == ["-....P..........", "...............-"]


def test_only_the_named_subnet_is_drawn(tmp_path: Path) -> None:
    """Only the named subnet is drawn."""
    assert drawn(tmp_path, ISLANDS, "right").startswith("right (island other)  10.62.20.0/27\n")
    assert drawn(tmp_path, ISLANDS, "right").count("10.62.20.0/27") == 1


def test_a_map_that_cannot_be_drawn_gives_a_message(tmp_path: Path) -> None:
    """An unreadable prefix and a plan without subnets give a message; an unreadable address does not stop the map."""
    plan = ISLANDS + '[[subnet]]\nname = "typo"\nprefix = "10.62.20.0/99"\n'
    text = drawn(tmp_path, plan + INTERFACE.format("a", "left", "10.62.20.05"))
    assert "typo (island site): its prefix cannot be read (10.62.20.0/99)" in text
    assert "left (island site)  10.62.20.0/27" in text
    assert drawn(tmp_path, ISLANDS.split("[[subnet]]")[0]) == "The plan has no subnets."


def test_an_ipv6_subnet_is_a_list(tmp_path: Path) -> None:
    """An IPv6 subnet lists its addresses in order with their uses, the most severe first, and the gaps between them."""
    plan = ISLANDS + '[[subnet]]\nname = "six"\nprefix = "2001:db8::/64"\ngateway = "2001:db8::1"\n'
    plan += 'pools = ["2001:db8::100-2001:db8::1ff"]\n' + INTERFACE.format("a", "six", "2001:db8::61")
    lines = drawn(tmp_path, plan, "six").splitlines()
    assert lines[0] == "six (island site)  2001:db8::/64"
    assert lines[1:4] == [
        "  G 2001:db8::1  gateway or router  the gateway of subnet six",
        "  P 2001:db8::61  planned  a/lan",
        "  d 2001:db8::100-2001:db8::1ff  pool (DHCP)  six",
    ]
    assert "(about 2^64)" in lines[5]
    many = [Holding(single(Address(6, n)), Use.SITE_HOST) for n in range(100)]
    long = list_to_text("six", reversed(many), [], 30, colour=False).splitlines()
    assert long[1].startswith("  s ::  site host")
    assert "  and 60 more" in long
    assert max(map(len, long)) <= 30


def test_the_widest_gaps_are_those_of_a_plain_count(tmp_path: Path) -> None:
    """The widest gaps are those that counting each address with the standard library gives."""
    plan = read_plan(Path(__file__).parents[2] / "plans" / "tarn-hollow")
    island = islands_of(plan, read_surveys(plan))["site"]
    for subnet in plan.subnets:
        assert subnet.prefix.value is not None
        held = {n for one in holdings(island, subnet.prefix.value, ()) for n in range(one.span.low, one.span.high + 1)}
        free = [n for n in map(int, ipaddress.IPv4Network(str(subnet.prefix.value)).hosts()) if n not in held]
        starts = [n for n in free if n - 1 not in free]
        runs = [(start, next(n for n in free if n >= start and n + 1 not in free)) for start in starts]
        widest = sorted(runs, key=lambda run: (run[0] - run[1], run[0]))[:5]
        assert [(gap.low, gap.high) for gap in gaps_of(island, subnet.prefix.value, (), 5)] == widest
