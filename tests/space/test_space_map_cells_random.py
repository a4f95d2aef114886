"""The cells of the map of random plans are compared with a check of every address, one by one and in blocks."""

from __future__ import annotations

import ipaddress
from pathlib import Path
from random import Random

import pytest

from netcheck.addr import Address, Prefix
from netcheck.plan.read import read_plan
from netcheck.space.map_cells import MOST_CELLS, Use, cells_of
from netcheck.space.occupancy import Island, islands_of
from netcheck.survey.read import read_surveys

ORDER = list(Use)  # the most severe first


def text_of(random: Random, network: ipaddress.IPv4Network) -> tuple[str, str, dict[str, list[tuple[int, int]]]]:
    """Return a random plan and survey as text, and the ranges (first, last) that they name by use."""
    low, high = int(network[0]) - 40, int(network[-1]) + 40  # some addresses are outside the network
    named: dict[str, list[tuple[int, int]]] = {use: [] for use in "PsdrGT"}

    def draw(use: str, longest: int = 1) -> str:
        first = random.randint(low, high)
        last = min(high, first + random.randrange(longest))
        named[use].append((first, last))
        return str(ipaddress.ip_address(first)) + (f"-{ipaddress.ip_address(last)}" if longest > 1 else "")

    def ranges(use: str) -> str:
        return str([draw(use, max(2, network.num_addresses // 9)) for _ in range(random.randint(0, 3))])

    lines = ['format = 1\n[site]\nname = "Example"\n[[subnet]]\nname = "a"', f'prefix = "{network}"']
    lines += [f'gateway = "{draw("G")}"', f"pools = {ranges('d')}", f"reserved = {ranges('r')}"]
    lines += ['[[subnet]]\nname = "b"\nprefix = "198.51.100.0/24"', f"pools = {ranges('d')}"]
    for number in range(random.randint(0, 12)):
        lines += [f'[[device]]\nname = "d{number}"\n[[device.interface]]\nname = "lan"\nsubnet = "a"']
        lines += [f'address = "{draw("P")}"']
    lines += [f'[[station]]\nname = "laptop"\naddress = "{draw("T")}/{network.prefixlen}"']
    lines += [f'[[router]]\nname = "r"\ninterfaces = ["{draw("G")}/{network.prefixlen}"]']
    lines += ['[[survey]]\nfile = "hosts.csv"\ncovers = []\n']
    hosts = "address\n" + "".join(f"{draw('s')}\n" for _ in range(random.randint(1, 20)))
    return "\n".join(lines), hosts, named


def plain(named: dict[str, list[tuple[int, int]]], conflicts: set[int], address: int, edges: tuple[int, ...]) -> Use:
    """Return the most severe use of one address by a search through all ranges."""
    uses = {Use.CONFLICT} if address in conflicts else set()
    uses |= {Use(use) for use, spans in named.items() for first, last in spans if first <= address <= last}
    uses |= {Use.UNUSABLE} if address in edges else set()
    return min(uses, key=ORDER.index, default=Use.FREE)


def island_of(folder: Path, plan: str, hosts: str) -> Island:
    """Read the plan from files."""
    (folder / "plan.toml").write_text(plan, "utf-8")
    (folder / "hosts.csv").write_text(hosts, "utf-8")
    read = read_plan(folder)
    return islands_of(read, read_surveys(read))["site"]


@pytest.mark.parametrize("length", [21, 22, 24, 26, 30, 31, 32])
@pytest.mark.parametrize("seed", range(4))
def test_cells_have_the_use_of_their_addresses(seed: int, length: int, tmp_path: Path) -> None:
    """With blocks of one and of two addresses, every cell shows the most severe use in it."""
    random = Random(100 * seed + length)
    network = ipaddress.IPv4Network((int(ipaddress.IPv4Address("10.62.16.0")), length))
    plan, hosts, named = text_of(random, network)
    conflicts = {random.randint(int(network[0]), int(network[-1])) for _ in range(3)}
    prefix = Prefix.from_text(str(network))
    cells = cells_of(island_of(tmp_path, plan, hosts), prefix, {Address(4, address) for address in conflicts})
    assert cells.block * len(cells.uses) == network.num_addresses
    edges = (int(network[0]), int(network[-1])) if network.num_addresses > 2 and cells.block == 1 else ()
    each = [plain(named, conflicts, int(address), edges) for address in network]
    blocks = [each[n : n + cells.block] for n in range(0, len(each), cells.block)]
    assert list(cells.uses) == [min(block, key=ORDER.index) for block in blocks]
    assert (cells.block > 1) == (network.num_addresses > MOST_CELLS)


def test_a_map_of_everything_is_bounded(tmp_path: Path) -> None:
    """0.0.0.0/0 has as many cells as the largest map.

    No host may have an address in 0/8, 127/8 or from 224.0.0.0 on (RFC 1122 section 3.2.1.3, RFC 1112 section 4): these
    are 136 blocks of 2^22 addresses.
    """
    plan = 'format = 1\n[site]\nname = "x"\n[[subnet]]\nname = "all"\nprefix = "0.0.0.0/0"\npools = ["10.0.0.0/8"]\n'
    cells = cells_of(island_of(tmp_path, plan, "address\n"), Prefix.from_text("0.0.0.0/0"), ())
    assert len(cells.uses) == MOST_CELLS
    assert cells.uses[40:44] == (Use.POOL,) * 4
    assert (cells.count(Use.POOL), cells.count(Use.UNUSABLE)) == (4, 4 + 4 + 128)
    assert cells.count(Use.FREE) == MOST_CELLS - 4 - 136


def test_ipv6_cells_ignore_ipv4_ranges(tmp_path: Path) -> None:
    """An IPv4 pool does not mark cells of an IPv6 prefix with the same numbers.

    The first address of an IPv6 prefix is not usable, the last one is (RFC 4291 section 2.6.1).
    """
    plan = (
        'format = 1\n[site]\nname = "x"\n[[subnet]]\nname = "six"\nprefix = "2001:db8::/120"\n'
        'pools = ["2001:db8::80-2001:db8::8f"]\n'
        '[[subnet]]\nname = "zero"\nprefix = "0.0.0.0/8"\npools = ["0.0.0.0/8"]\n'
    )
    cells = cells_of(island_of(tmp_path, plan, "address\n"), Prefix.from_text("2001:db8::/120"), ())
    assert [n for n, use in enumerate(cells.uses) if use is Use.POOL] == list(range(0x80, 0x90))
    assert (cells.uses[0], cells.count(Use.UNUSABLE), cells.count(Use.FREE)) == (Use.UNUSABLE, 1, 256 - 16 - 1)
