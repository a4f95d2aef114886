"""The cells of the map are compared with a check of every single address with `ipaddress`."""

from __future__ import annotations

import ipaddress
from pathlib import Path

import pytest

from netcheck.addr import Address, Prefix
from netcheck.plan.read import read_plan
from netcheck.report.text.subnet_map import to_text
from netcheck.space.map_cells import MOST_CELLS, Use, cells_of
from netcheck.space.occupancy import Island, islands_of
from netcheck.survey.read import read_surveys

PLANT = Path(__file__).parents[2] / "plans" / "tarn-hollow"


@pytest.fixture(scope="module")
def island() -> Island:
    """Return the only island of the demo plant."""
    plan = read_plan(PLANT)
    return islands_of(plan, read_surveys(plan))["site"]


def expected(island: Island, address: Address, network: ipaddress.IPv4Network, conflicts: set[Address]) -> Use:
    """Return the most severe use of one address, found independently of the map."""
    if address in conflicts:
        return Use.CONFLICT
    if address in {gateway.address for gateway in island.gateways}:
        return Use.GATEWAY
    if address in {placed.address for placed in island.placed}:
        return Use.PLANNED
    if island.hosts.at(address):
        return Use.SITE_HOST
    if address in {station for station, _ in island.stations}:
        return Use.STATION
    for spans, use in (("pools", Use.POOL), ("reserved", Use.RESERVED)):
        cells = [cell for subnet in island.subnets for cell in getattr(subnet, spans)]
        if any(cell.value is not None and cell.value.holds(address) for cell in cells):
            return use
    host = ipaddress.IPv4Address(address.value)
    return Use.UNUSABLE if host in (network.network_address, network.broadcast_address) else Use.FREE


@pytest.mark.parametrize("text", ["10.62.20.0/24", "10.62.30.0/24", "10.62.40.0/25", "10.62.20.0/31", "10.62.20.61/32"])
def test_every_cell_has_the_use_of_its_address(island: Island, text: str) -> None:
    """A cell of one address shows its most severe use."""
    prefix, network = Prefix.from_text(text), ipaddress.IPv4Network(text)
    conflicts = {Address.from_text("10.62.20.61")}
    cells = cells_of(island, prefix, conflicts)
    addresses = [Address(4, int(address)) for address in network]
    plain = [expected(island, address, network, conflicts) for address in addresses]
    if prefix.size <= 2:
        plain = [Use.FREE if use is Use.UNUSABLE else use for use in plain]  # both usable: RFC 3021 section 2.1
    assert list(cells.uses) == plain


def test_a_large_subnet_is_drawn_by_block(island: Island) -> None:
    """If there are more addresses than cells, a cell shows the most severe use in its block."""
    cells = cells_of(island, Prefix.from_text("10.62.0.0/16"), [])
    assert len(cells.uses) <= MOST_CELLS
    assert cells.block * len(cells.uses) == 65536
    gateway = (20 * 256 + 1) // cells.block
    assert cells.uses[gateway] is Use.GATEWAY


def test_the_map_in_letters_counts_what_it_shows(island: Island) -> None:
    """Rows begin with their first address, and the counts of the legend add up to the subnet."""
    cells = cells_of(island, Prefix.from_text("10.62.40.0/25"), [])
    lines = to_text("services", cells, [], 200).splitlines()
    rows = [line.split()[1:17] for line in lines[2:10]]
    letters = "".join(letter for row in rows for letter in row)
    assert len(letters) == 128
    assert lines[6].split()[0] == "10.62.40.64"
    counts = {use: cells.count(use) for use in Use}
    assert {use: letters.count(use.value) for use in Use} == counts
    assert all(f"{use.word} ({count})" in "\n".join(lines) for use, count in counts.items() if count)
