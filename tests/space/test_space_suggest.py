"""Proposals are free and distinct, and follow the documented preferences in their order."""

from __future__ import annotations

import ipaddress
import random
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.addr import Address, InterfaceAddress, Prefix, Range
from netcheck.plan.model import Cell, Interface, Plan, Position, Station, Subnet, SurveyEntry
from netcheck.space.occupancy import islands_of
from netcheck.space.suggest import Suggestion, suggest
from netcheck.space.vacant import FreeSpace
from netcheck.survey.host_table import HostTable, SiteHost
from netcheck.survey.model import Survey

HERE = Position("plan.toml")


def subnet(name: str = "process", prefix: str = "10.62.20.0/24", gateway: str = "", pools: str = "") -> Subnet:
    """Return a subnet, with a gateway and one pool if given."""
    return Subnet(
        name=name,
        prefix=Cell(prefix, Prefix.from_text(prefix), HERE),
        position=HERE,
        gateway=Cell(gateway, Address.from_text(gateway), HERE) if gateway else None,
        pools=(Cell(pools, Range.from_text(pools), HERE),) if pools else (),
    )


def interface(subject: str, address: str = "", kind: str = "", within: str = "process") -> Interface:
    """Return an interface, with an address if given."""
    device, _, name = subject.partition("/")
    cell = Cell(address, Address.from_text(address), HERE) if address else None
    return Interface(device, name, within, HERE, kind, address=cell)


def plan(*interfaces: Interface, subnets: tuple[Subnet, ...] = (subnet(),), keep_clear: int = 0) -> Plan:
    """Return a plan of these interfaces."""
    return Plan(
        name="Example",
        slug="example",
        folder=".",
        sha256="",
        keep_clear=keep_clear,
        subnets=subnets,
        interfaces=interfaces,
    )


def survey(*addresses: str) -> tuple[Survey, ...]:
    """Return one survey with hosts at these addresses."""
    hosts = HostTable.of(SiteHost(address=Address.from_text(address)) for address in addresses)
    return (Survey(entry=SurveyEntry(file="site-hosts.csv", position=HERE), hosts=hosts, kind="csv"),)


def suggested(plan: Plan, *hosts: str, wanted: str = "filler-plc/cpu", near: bool = False) -> Suggestion | None:
    """Return the proposal for one interface; `near` allows one that is nearer than keep-clear to a site host."""
    islands = islands_of(plan, survey(*hosts))
    return suggest(plan, islands, [wanted], [wanted] if near else ()).get(wanted)


def address_of(suggestion: Suggestion | None) -> str:
    """Read an address."""
    assert suggestion is not None
    return str(suggestion.address)


def test_the_middle_of_the_widest_gap_comes_last() -> None:
    """Without other preferences it is the middle of the widest gap: .177 of .101 to .254 with site host .100."""
    found = suggested(plan(interface("filler-plc/cpu")), "10.62.20.100")
    assert address_of(found) == "10.62.20.177"
    assert found is not None
    assert found.why == "the middle of the widest free gap, 10.62.20.101-10.62.20.254"


def test_the_last_octet_of_the_device_comes_before_the_middle() -> None:
    """The device has .61 in the other subnet, so it gets .61 here."""
    other = interface("filler-plc/module", "10.62.30.61", within="packing")
    subnets = (subnet(), subnet("packing", "10.62.30.0/24"))
    found = suggested(plan(interface("filler-plc/cpu"), other, subnets=subnets))
    assert address_of(found) == "10.62.20.61"
    assert found is not None
    assert "filler-plc/module" in found.why


def test_the_run_of_a_kind_comes_before_the_last_octet() -> None:
    """Controllers have .40 and .41, so this one gets .42, although its device has .61 in the other subnet."""
    others = (
        interface("filler-plc/module", "10.62.30.61", within="packing"),
        interface("capper-plc/cpu", "10.62.20.40", "controller"),
        interface("labeller-plc/cpu", "10.62.20.41", "controller"),
    )
    subnets = (subnet(), subnet("packing", "10.62.30.0/24"))
    found = suggested(plan(interface("filler-plc/cpu", kind="controller"), *others, subnets=subnets))
    assert address_of(found) == "10.62.20.42"


def test_the_run_of_the_device_comes_before_that_of_its_kind() -> None:
    """The run of .80 of the same device has precedence over the run of .40 of another controller."""
    others = (
        interface("capper-plc/cpu", "10.62.20.40", "controller"),
        interface("filler-plc/module", "10.62.20.80", "controller"),
    )
    assert address_of(suggested(plan(interface("filler-plc/cpu", kind="controller"), *others))) == "10.62.20.81"


def test_clearance_comes_before_everything() -> None:
    """A site host at .42 with keep-clear 4 excludes the run at .41; the last octet is the next preference."""
    others = (
        interface("filler-plc/module", "10.62.30.61", within="packing"),
        interface("capper-plc/cpu", "10.62.20.41", "controller"),
    )
    subnets = (subnet(), subnet("packing", "10.62.30.0/24"))
    crowd = plan(interface("filler-plc/cpu", kind="controller"), *others, subnets=subnets, keep_clear=4)
    assert address_of(suggested(crowd, "10.62.20.42")) == "10.62.20.61"


def test_a_nearer_address_only_if_no_other_is_free_and_not_as_a_fix() -> None:
    """In a /29 with a host in the middle no address is 4 away: a nearer one is proposed, but not as a fix."""
    small = plan(interface("filler-plc/cpu"), subnets=(subnet(prefix="10.62.20.0/29"),), keep_clear=4)
    found = suggested(small, "10.62.20.3", near=True)
    assert found is not None
    assert "nearer than 4" in found.why
    assert suggested(small, "10.62.20.3") is None


def test_exactly_keep_clear_away_is_clear() -> None:
    """In 10.62.20.0/29 with a host at .1 and keep-clear 5, .6 is the only address 5 away."""
    small = plan(interface("filler-plc/cpu"), subnets=(subnet(prefix="10.62.20.0/29"),), keep_clear=5)
    assert address_of(suggested(small, "10.62.20.1")) == "10.62.20.6"


def test_a_full_subnet_gets_no_proposal() -> None:
    """A /30 with a gateway and a planned interface is full."""
    full = plan(
        interface("filler-plc/cpu"),
        interface("capper-plc/cpu", "10.62.20.2"),
        subnets=(subnet(prefix="10.62.20.0/30", gateway="10.62.20.1"),),
    )
    assert suggested(full) is None


def test_private_use_before_public_addresses() -> None:
    """In a prefix that is larger than a private block (RFC 1918 section 3), only private addresses are proposed."""
    wide = plan(interface("filler-plc/cpu"), subnets=(subnet(prefix="172.0.0.0/11"),))
    assert ipaddress.ip_address(address_of(suggested(wide))) in ipaddress.ip_network("172.16.0.0/12")


def test_overlapping_subnets_share_no_proposal() -> None:
    """Two subnets contain the same two addresses: each interface gets a different one."""
    subnets = (subnet(prefix="10.62.20.0/31"), subnet("packing", "10.62.20.0/31"))
    both = plan(interface("a/x"), interface("b/x", within="packing"), interface("c/x"), subnets=subnets)
    found = suggest(both, islands_of(both, ()), ["a/x", "b/x", "c/x"])
    assert sorted(str(each.address) for each in found.values()) == ["10.62.20.0", "10.62.20.1"]


def test_ipv6_too() -> None:
    """In a /64 the middle of 2^64 addresses is proposed, and the next one for the same kind."""
    wide = (subnet(prefix="fd00:62:20::/64"),)
    found = suggest(
        lone := plan(interface("a/x", kind="drive"), interface("b/x", kind="drive"), subnets=wide),
        islands_of(lone, ()),
        ["a/x", "b/x"],
    )
    first, second = (each.address for each in found.values())
    assert second.value - first.value == 1
    assert ipaddress.ip_address(str(first)) in ipaddress.ip_network("fd00:62:20::/64")


@pytest.mark.parametrize("typed", ["10.62.2O.20", "10.62.20.02O", "10,62,20,20 ?", "I0.62.20.20"])
def test_the_address_that_a_mistyped_cell_means_is_not_proposed(typed: str) -> None:
    """Otherwise the address would be planned twice as soon as the cell is corrected."""
    mistyped = interface("plc/lan")._replace(address=Cell(typed, None, HERE))
    free = [interface(f"d{number}/lan") for number in range(40)]
    taken = [interface(f"t{number}/lan", f"10.62.20.{number}") for number in range(1, 20)]
    example = plan(*taken, mistyped, *free)
    given = {
        str(one.address) for one in suggest(example, islands_of(example, ()), [each.subject for each in free]).values()
    }
    assert len(given) == 40
    assert "10.62.20.20" not in given


def test_an_unreadable_prefix_gets_no_proposal() -> None:
    """No address is guessed if the subnet's prefix is unknown."""
    broken = subnet()._replace(prefix=Cell("10.62.20.0/240", None, HERE, "no prefix"))
    assert suggested(plan(interface("filler-plc/cpu"), subnets=(broken,))) is None


octets = st.integers(0, 31)


@given(
    planned=st.lists(octets, max_size=12),
    hosts=st.lists(octets, max_size=12),
    pool=st.tuples(octets, octets),
    station=octets,
    keep_clear=st.integers(0, 5),
    length=st.integers(27, 31),
)
def test_proposals_are_free_and_apart(
    planned: list[int], hosts: list[int], pool: tuple[int, int], station: int, keep_clear: int, length: int
) -> None:
    """`ipaddress` confirms: inside the subnet, usable, unused, distinct, and the same in a second run."""
    network = ipaddress.ip_network(f"192.168.0.0/{length}")
    base = int(network.network_address)
    low, high = sorted(pool)
    span = f"192.168.0.{low}-192.168.0.{high}"
    placed = [interface(f"placed-{index}/x", f"192.168.0.{octet}") for index, octet in enumerate(planned)]
    empty = [interface(f"empty-{index}/x", kind="drive") for index in range(4)]
    laptop = Cell("", InterfaceAddress(Address(4, base + station), length), HERE)
    whole = replace(
        plan(*placed, *empty, subnets=(subnet(prefix=str(network), gateway="192.168.0.1", pools=span),)),
        stations=(Station("laptop", laptop, HERE),),
        keep_clear=keep_clear,
    )
    islands = islands_of(whole, survey(*(f"192.168.0.{octet}" for octet in hosts)))
    wanted = [one.subject for one in empty]
    found = suggest(whole, islands, wanted, wanted)
    values = [each.address.value - base for each in found.values()]
    taken = {*planned, *hosts, *range(low, high + 1), station, 1}
    free = {int(host) - base for host in network.hosts()} - taken
    assert len(values) == min(len(wanted), len(free))
    assert len(set(values)) == len(values)
    assert set(values) <= free
    assert found == suggest(whole, islands, wanted, wanted)
    clear = {
        value for value in free if all(abs(value - host) >= keep_clear for host in hosts if host < 2 ** (32 - length))
    }
    strict = suggest(whole, islands, wanted)
    assert {each.address.value - base for each in strict.values()} <= clear
    assert len(strict) == min(len(wanted), len(clear))


@given(st.lists(st.tuples(st.integers(0, 40), st.integers(0, 4)), max_size=40))
def test_free_space_is_what_has_not_been_taken(taken: list[tuple[int, int]]) -> None:
    """After ranges are taken in any order, `holds`, `next` and `previous` agree with the set of the remaining ones."""
    whole = FreeSpace([0, 20], [9, 39])
    free = whole.copy()
    rest = {*range(10), *range(20, 40)}
    for value, more in taken:
        free.take(value, value + more)
        rest -= {*range(value, value + more + 1)}
        assert all(free.holds(each) == (each in rest) for each in range(41))
        for each in range(41):
            assert free.next(each) == min((one for one in rest if one >= each), default=None)
            assert free.previous(each) == max((one for one in rest if one <= each), default=None)
        assert bool(free) == bool(rest)
        runs = [(low, high) for low in rest for high in rest if rest.issuperset(range(low, high + 1)) and low <= high]
        longest = max(high - low for low, high in runs) if runs else None
        assert free.widest() == min((run for run in runs if run[1] - run[0] == longest), default=None)
    assert whole.widest() == (20, 39)


@pytest.mark.parametrize("kind", ["controller", ""], ids=["of a kind", "of none"])
def test_a_run_continues(kind: str) -> None:
    """Several new controllers get consecutive addresses; devices without a kind do not."""
    three = plan(*(interface(f"plc-{index}/cpu", kind=kind) for index in range(3)))
    found = suggest(three, islands_of(three, ()), [one.subject for one in three.interfaces])
    values = [each.address.value for each in found.values()]
    assert (values == [values[0], values[0] + 1, values[0] + 2]) == bool(kind)


def proposed(*devices: Interface, hosts: tuple[str, ...] = (), prefix: str = "10.62.20.0/24") -> dict[str, str]:
    """Return the proposals for all devices without an address, by subject."""
    whole = plan(*devices, subnets=(subnet(prefix=prefix),))
    wanted = [one.subject for one in devices if one.address is None]
    return {
        subject: str(each.address)
        for subject, each in suggest(whole, islands_of(whole, survey(*hosts)), wanted).items()
    }


@pytest.mark.parametrize("kinds", [("controller", "drive", "panel", "valve"), ("", "", "", "")], ids=["kinds", "none"])
@pytest.mark.parametrize("new", ["", "another"], ids=["without a kind", "of a new kind"])
@pytest.mark.parametrize("prefix", ["10.62.20.0/24", "10.0.0.0/8", "fd00:62:20::/64"])
def test_a_device_of_another_group_moves_no_proposal(kinds: tuple[str, ...], new: str, prefix: str) -> None:
    """Proposals stay the same after a device that sorts before all others is added or removed."""
    devices = [interface(f"{kind or 'node'}-{index}/x", kind=kind) for index, kind in enumerate(kinds)]
    before = proposed(*devices, prefix=prefix)
    after = proposed(interface("aaa/x", kind=new and f"a-{new}"), *devices, prefix=prefix)
    assert len(set(after.values())) == len(devices) + 1
    assert {subject: address for subject, address in after.items() if subject != "aaa/x"} == before


def test_a_proposal_moves_only_if_another_device_gets_its_address() -> None:
    """In 200 random plans without kinds, a further device moves few proposals, and only where it needs the address.

    Two of 24 devices in a /24 rarely start at the same address, so that 24 of 25 proposals stay.
    """
    drawn = random.Random(62)
    moved = total = 0
    for _ in range(200):
        names = drawn.sample(range(1000), 25)
        hosts = tuple(f"10.62.20.{octet}" for octet in drawn.sample(range(1, 255), drawn.randrange(20)))
        devices = [interface(f"node-{number}/x") for number in names]
        before, after = proposed(*devices[1:], hosts=hosts), proposed(*devices, hosts=hosts)
        others = {subject: address for subject, address in before.items() if after[subject] != address}
        assert set(others.values()) <= set(after.values())
        moved, total = moved + len(others), total + len(before)
    assert moved <= total / 25


def test_the_reason_reads_as_a_sentence_where_the_start_itself_is_taken() -> None:
    """The reason names the group and its gap, by itself and after "the nearest free address to"."""
    other = interface("aaa/x", kind="panel", within="process")
    found = suggested(plan(interface("filler-plc/cpu", kind="controller"), other))
    assert found is not None
    assert found.why == "the start of kind controller in the free gap 10.62.20.1-10.62.20.254"
    taken = interface("capper-plc/cpu", str(found.address), kind="drive")
    moved = suggested(plan(interface("filler-plc/cpu", kind="controller"), other, taken))
    assert moved is not None
    assert moved.why == f"the nearest free address to {found.why}"


def test_the_starts_of_groups_lie_in_free_gaps_with_room() -> None:
    """Every third address up to .199 is a host: at least half of the starts are in the gap from .200 on."""
    hosts = tuple(f"10.62.20.{octet}" for octet in range(1, 201, 3))
    found = proposed(*(interface(f"node-{index}/x", kind=f"kind-{index}") for index in range(12)), hosts=hosts)
    far = [text for text in found.values() if int(text.rpartition(".")[2]) > 199]
    assert len(far) >= len(found) / 2
