"""Tests of the maps of the page: a cell for each address, larger subnets by blocks, IPv6 as a list, bounded size."""

from __future__ import annotations

import ipaddress
from pathlib import Path

import pytest

from netcheck.report.html.page import TEMPLATES, to_html
from netcheck.report.html.subnet_maps import LISTED, SHEETS_EACH, SHEETS_IN_ALL, SubnetMap, maps_of
from netcheck.space.map_cells import Use
from tests.report.made import report_from, write_plan

HEAD = 'format = 1\n[site]\nname = "Tarn Hollow creamery"\n'


def subnet(name: str, prefix: str, more: str = "") -> str:
    """Return the TOML of a subnet."""
    return f'[[subnet]]\nname = "{name}"\nprefix = "{prefix}"\n{more}\n'


def device(name: str, of: str, address: str) -> str:
    """Return the TOML of a device."""
    return f'[[device]]\nname = "{name}"\n[[device.interface]]\nname = "lan"\nsubnet = "{of}"\naddress = "{address}"\n'


def map_of(folder: Path, text: str) -> SubnetMap:
    """Return the first map of a plan."""
    return maps_of(report_from(write_plan(folder / "plan", HEAD + text)))[0]


# The standard library's ipaddress gives the number and the order of the addresses.
@pytest.mark.parametrize(
    "prefix", ["10.62.20.0/24", "10.62.20.128/25", "192.0.2.16/28", "192.0.2.4/30", "192.0.2.4/31", "192.0.2.4/32"]
)
def test_each_address_has_a_cell(tmp_path: Path, prefix: str) -> None:
    """Up to a /24 there is one sheet, with the addresses in order in rows of 16."""
    drawn = map_of(tmp_path, subnet("s", prefix))
    (sheet,) = drawn.sheets
    assert drawn.overview is None
    addresses = list(map(str, ipaddress.ip_network(prefix)))
    assert [cell.title.partition(":")[0] for cell in sheet.cells] == addresses
    assert len({(cell.x, cell.y) for cell in sheet.cells}) == len(addresses)
    assert [cell.x for cell in sheet.cells] == [sheet.left + at % 16 * 28 for at in range(len(addresses))]
    assert all(cell.x + 26 <= sheet.width and cell.y + 26 <= sheet.height for cell in sheet.cells)


def test_a_cell_names_its_owners(plan_folder: Path) -> None:
    """A cell shows its most severe use and names every owner."""
    cells = {cell.title.partition(":")[0]: cell for cell in maps_of(report_from(plan_folder))[0].sheets[0].cells}
    told = {
        at: (cells[f"10.62.20.{at}"].use, cells[f"10.62.20.{at}"].title.partition(": ")[2])
        for at in (0, 1, 2, 61, 72, 82, 205)
    }
    assert told == {
        0: (Use.UNUSABLE, "not usable"),
        1: (Use.GATEWAY, "the gateway of subnet process"),
        2: (Use.FREE, "free"),
        61: (Use.CONFLICT, "conflict; planned pasteuriser-plc/cpu; site host camera-7"),
        72: (Use.PLANNED, "planned separator-drive/lan"),
        82: (Use.SITE_HOST, "site host camera-8"),
        205: (Use.CONFLICT, "conflict; planned line-panel/lan; pool 10.62.20.200-10.62.20.239"),
    }


def test_the_table_has_the_uses_of_the_map(tmp_path: Path) -> None:
    """The table counts each use and names its ranges, and lists the widest free gaps first."""
    text = subnet("s", "10.62.20.0/24", 'gateway = "10.62.20.1"\npools = ["10.62.20.100-10.62.20.199"]')
    drawn = map_of(tmp_path, text + device("a", "s", "10.62.20.20") + device("b", "s", "10.62.20.21"))
    rows = {row.use: (row.count, list(map(str, row.ranges))) for row in drawn.rows}
    assert rows[Use.PLANNED] == (2, ["10.62.20.20-10.62.20.21"])
    assert rows[Use.POOL] == (100, ["10.62.20.100-10.62.20.199"])
    assert rows[Use.FREE] == (
        254 - 1 - 2 - 100,
        ["10.62.20.2-10.62.20.19", "10.62.20.22-10.62.20.99", "10.62.20.200-10.62.20.254"],
    )
    assert list(map(str, drawn.gaps)) == [
        "10.62.20.22-10.62.20.99",
        "10.62.20.200-10.62.20.254",
        "10.62.20.2-10.62.20.19",
    ]


@pytest.mark.parametrize(
    ("length", "block"), [(23, 16), (22, 16), (20, 16), (16, 256), (8, 65536), (0, 1 << 24)], ids=str
)
def test_larger_subnets_are_drawn_by_blocks(tmp_path: Path, length: int, block: int) -> None:
    """There are at most 256 blocks; a block with a planned address is marked and links to the sheet of its /24."""
    network = ipaddress.ip_network(f"10.62.0.0/{length}", strict=False)
    drawn = map_of(tmp_path, subnet("s", str(network)) + device("a", "s", "10.62.1.77"))
    assert drawn.overview is not None
    assert drawn.overview.block == block
    assert len(drawn.overview.cells) * block == network.num_addresses
    at = (int(ipaddress.ip_address("10.62.1.77")) - int(network.network_address)) // block
    cell = drawn.overview.cells[at]
    assert cell.use in (Use.PLANNED, Use.CONFLICT)
    assert "1 planned" in cell.title
    (sheet,) = [sheet for sheet in drawn.sheets if sheet.anchor == cell.link]
    assert str(sheet.prefix) == "10.62.1.0/24"
    assert len({sheet.anchor for sheet in drawn.sheets}) == len(drawn.sheets)


def test_sheets_are_bounded(tmp_path: Path) -> None:
    """A subnet has at most 16 sheets and a page 64; planned addresses come first, and omitted sheets are counted."""
    devices = "".join(device(f"d{n}", f"s{n // 30}", f"10.{n // 30}.{n % 30 * 8}.9") for n in range(180))
    text = "".join(subnet(f"s{n}", f"10.{n}.0.0/16") for n in range(6)) + devices
    report = report_from(write_plan(tmp_path / "plan", HEAD + text))
    maps = maps_of(report)
    assert [len(each.sheets) for each in maps] == [SHEETS_EACH] * 4 + [0, 0]
    assert sum(len(each.sheets) for each in maps) == SHEETS_IN_ALL
    assert "14 more /24 of this subnet" in maps[0].left_out
    assert "30 more /24 of this subnet" in maps[5].left_out
    assert all(sum(row.count for row in each.rows if row.use is Use.PLANNED) == 30 for each in maps)
    assert len(to_html(report)) < 5_000_000


def test_ipv6_is_a_list(tmp_path: Path) -> None:
    """An IPv6 subnet lists every used address in order with its owner; a long list is cut with a note."""
    text = subnet("s", "2001:db8:20::/64", 'gateway = "2001:db8:20::1"') + device("a", "s", "2001:db8:20::a")
    drawn = map_of(tmp_path, text)
    assert (drawn.sheets, drawn.overview, drawn.left_out) == ((), None, "")
    assert [(str(address), held) for address, held in drawn.held] == [
        ("2001:db8:20::1", "the gateway of subnet s"),
        ("2001:db8:20::a", "planned a/lan"),
    ]
    many = "".join(device(f"d{n}", "s", f"2001:db8:20::{n + 16:x}") for n in range(LISTED + 5))
    drawn = map_of(tmp_path, text + many)
    assert len(drawn.held) == LISTED
    assert "first 500 addresses" in drawn.left_out


def test_an_unreadable_prefix_is_reported(tmp_path: Path) -> None:
    """An unreadable prefix has no map, and the page says why."""
    assert "'10.62.20.0/33' cannot be read" in map_of(tmp_path, subnet("s", "10.62.20.0/33")).left_out


def test_every_use_looks_different() -> None:
    """Letter, style and words of each use differ from all others, and uses of many addresses have patterns."""
    style, template = ((TEMPLATES / name).read_text("utf-8") for name in ("style.css", "map.html"))
    assert len({use.value for use in Use}) == len({use.word for use in Use}) == len(Use)
    names = [use.name.lower().replace("_", "-") for use in Use]
    assert all(f".map .m-{name} " in style for name in names)
    patterned = {name for name in names if f'<pattern id="pat-{name}"' in template}
    assert patterned == set(names) - {"gateway", "unusable", "free"}
    assert all(f"url(#pat-{name})" in style for name in patterned)
