"""Random plans: the rules have the same findings as a simple implementation with `ipaddress`."""

from __future__ import annotations

import ipaddress
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.addr import Address, InterfaceAddress, Mac, Mask, Prefix, Range
from netcheck.plan.model import Cell, Interface, Plan, Position, Router, Station, Subnet, SurveyEntry
from netcheck.rules.engine import check
from netcheck.survey.host_table import HostTable, SiteHost
from netcheck.survey.model import Survey

HERE = Position("plan.toml")
Found = set[tuple[str, tuple[str, ...]]]
RULES = {
    "outside-subnet", "unusable-address", "special-purpose", "planned-twice", "taken-on-site",
    "already-there", "inside-pool", "inside-reserved", "is-gateway", "is-station", "too-near",
    "gateway-off-link", "gateway-differs", "mask-differs", "mac-planned-twice", "mac-elsewhere",
    "subnets-overlap", "same-subnet-twice", "unplaced", "survey-disagrees",
}  # fmt: skip


@dataclass(frozen=True)
class Row:
    """The values typed for an interface, as indexes into small sets, so that random plans clash often."""

    device: int
    address: str | None
    length: int | None
    gateway: str | None
    mac: int | None


@dataclass(frozen=True)
class Drawing:
    """A plan of two subnets, from which the text of the plan and the expected findings are made."""

    prefixes: tuple[str, str]
    gateway: str | None
    pool: tuple[str, str] | None
    reserved: tuple[str, str] | None
    rows: tuple[tuple[int, Row], ...]
    router: str | None
    station: str | None
    hosts: tuple[tuple[str, int | None], ...]
    keep_clear: int


def _addresses(family: int) -> st.SearchStrategy[str]:
    base = "192.0.2.{}" if family == 4 else "fd62:20::{:x}"
    near = st.sampled_from([0, 1, 2, 3, 4, 5, 6, 7, 8, 30, 31, 32, 33, 63, 64, 127, 128, 129, 200, 254, 255])
    return near.map(base.format)


def _pair(address: st.SearchStrategy[str]) -> st.SearchStrategy[tuple[str, str]]:
    return st.tuples(address, address).map(lambda pair: (min(pair, key=_int), max(pair, key=_int)))


def _int(text: str) -> int:
    return int(ipaddress.ip_address(text))


@st.composite
def drawings(draw: st.DrawFn) -> Drawing:
    """Draw plans within one /24, or one IPv6 /120 of a /64, where most values clash easily."""
    family = draw(st.sampled_from([4, 6]))
    address = _addresses(family)
    lengths = (24, 31) if family == 4 else (120, 127)
    network = st.tuples(address, st.integers(*lengths)).map(
        lambda pair: str(ipaddress.ip_network((pair[0], pair[1]), strict=False))
    )
    maybe = st.none() | address
    row = st.builds(
        Row, st.integers(0, 3), maybe, st.none() | st.integers(*lengths), maybe, st.none() | st.integers(1, 4)
    )
    return Drawing(
        draw(st.tuples(network, network)),
        draw(maybe),
        draw(st.none() | _pair(address)),
        draw(st.none() | _pair(address)),
        tuple(draw(st.lists(st.tuples(st.integers(0, 1), row), max_size=6))),
        draw(maybe),
        draw(maybe),
        tuple(draw(st.lists(st.tuples(address, st.none() | st.integers(1, 4)), max_size=4))),
        draw(st.integers(0, 3)),
    )


def _mac(number: int) -> Mac:
    return Mac.from_text(f"00-00-5E-00-53-{number:02X}")


def _address_cell(text: str | None) -> Cell[Address] | None:
    return None if text is None else Cell(text, Address.from_text(text), HERE)


def _range_cell(pair: tuple[str, str] | None) -> tuple[Cell[Range], ...]:
    return () if pair is None else (Cell("-".join(pair), Range.from_text("-".join(pair)), HERE),)


def _with_length(text: str, length: int) -> Cell[InterfaceAddress]:
    return Cell(text, InterfaceAddress.from_text(f"{text}/{length}"), HERE)


def _subject(index: int, row: Row) -> str:
    return f"d{row.device}/i{index}"


def _interface(index: int, subnet: int, row: Row) -> Interface:
    family = 6 if row.length is not None and row.length > 32 else 4
    mask = None if row.length is None else Cell("", Mask.from_text(f"/{row.length}", family), HERE)
    return Interface(
        f"d{row.device}",
        f"i{index}",
        f"s{subnet}",
        HERE,
        address=_address_cell(row.address),
        mask=mask,
        gateway=_address_cell(row.gateway),
        mac=None if row.mac is None else Cell("", _mac(row.mac), HERE),
    )


def _plan(drawn: Drawing) -> Plan:
    full = 24 if "." in drawn.prefixes[0] else 120
    subnets = [
        Subnet(name=f"s{n}", prefix=Cell(text, Prefix.from_text(text), HERE), position=HERE)
        for n, text in enumerate(drawn.prefixes)
    ]
    first = Subnet(
        name="s0",
        prefix=subnets[0].prefix,
        position=HERE,
        gateway=_address_cell(drawn.gateway),
        pools=_range_cell(drawn.pool),
        reserved=_range_cell(drawn.reserved),
    )
    return Plan(
        name="Example",
        slug="example",
        folder=".",
        sha256="",
        keep_clear=drawn.keep_clear,
        subnets=(first, subnets[1]),
        interfaces=tuple(_interface(index, *pair) for index, pair in enumerate(drawn.rows)),
        routers=() if drawn.router is None else (Router("r", (_with_length(drawn.router, full),), HERE),),
        stations=() if drawn.station is None else (Station("st", _with_length(drawn.station, full), HERE),),
    )


def _survey(drawn: Drawing) -> Survey:
    hosts = [
        SiteHost(address=Address.from_text(text), mac=None if mac is None else _mac(mac), file="hosts.csv", line=line)
        for line, (text, mac) in enumerate(drawn.hosts)
    ]
    return Survey(entry=SurveyEntry(file="hosts.csv", position=HERE), hosts=HostTable.of(hosts), kind="table")


def _naive(drawn: Drawing) -> Found:
    """Evaluate every rule again, one interface at a time, by the definition of the rule."""
    found: Found = set()
    rows = [(_subject(index, row), subnet, row) for index, (subnet, row) in enumerate(drawn.rows)]
    for subject, subnet, row in rows:
        found |= {(rule, (subject,)) for rule in _of_row(drawn, subnet, row)}
    found |= set(_of_several(rows))
    one, two = map(ipaddress.ip_network, drawn.prefixes)
    if one.overlaps(two):
        found.add(("subnets-overlap", ("s0", "s1")))
    if drawn.gateway is not None and ipaddress.ip_address(drawn.gateway) not in one:
        found.add(("gateway-off-link", ("s0",)))
    if drawn.station is not None and any(text == drawn.station for text, _ in drawn.hosts):
        found.add(("taken-on-site", ("st",)))
    seen = Counter(text for text, mac in {pair for pair in drawn.hosts if pair[1] is not None})
    return found | {("survey-disagrees", ("hosts.csv",)) for count in seen.values() if count > 1}


def _of_several(rows: list[tuple[str, int, Row]]) -> Iterator[tuple[str, tuple[str, ...]]]:
    groups: dict[tuple[str, object], list[str]] = {}
    for subject, subnet, row in rows:
        if row.address is not None:
            groups.setdefault(("planned-twice", row.address), []).append(subject)
        if row.mac is not None:
            groups.setdefault(("mac-planned-twice", row.mac), []).append(subject)
        groups.setdefault(("same-subnet-twice", (row.device, subnet)), []).append(subject)
    for (rule, _), subjects in groups.items():
        if len(subjects) > 1:
            yield rule, tuple(subjects)


def _of_row(drawn: Drawing, subnet: int, row: Row) -> Iterator[str]:
    network = ipaddress.ip_network(drawn.prefixes[subnet])
    planned = drawn.gateway if subnet == 0 else None
    if row.length is not None and row.length != network.prefixlen:
        yield "mask-differs"
    if row.gateway is not None and planned is not None and row.gateway != planned:
        yield "gateway-differs"
    if row.address is None:
        yield "unplaced"
        return
    link = ipaddress.ip_network((row.address, row.length or network.prefixlen), strict=False)
    if row.gateway is not None and ipaddress.ip_address(row.gateway) not in link:
        yield "gateway-off-link"
    yield from _of_address(drawn, network, row.address)
    yield from _of_hosts(drawn, network, row)


def _of_address(drawn: Drawing, network: ipaddress.IPv4Network | ipaddress.IPv6Network, text: str) -> Iterator[str]:
    address = ipaddress.ip_address(text)
    special = address.version == 4  # all IPv4 addresses are in 192.0.2.0/24, RFC 5737; fd00::/8 is for private use
    if address not in network:
        yield "outside-subnet"
    elif network.num_addresses > 2:  # RFC 1122 section 3.2.1.3, RFC 3021; IPv6: RFC 4291 section 2.6.1
        ends = {network[0], network[-1]} if network.version == 4 else {network[0]}
        if address in ends:
            yield "unusable-address"
            special = False
    if special:
        yield "special-purpose"
    for rule, pair in (("inside-pool", drawn.pool), ("inside-reserved", drawn.reserved)):
        if pair is not None and _int(pair[0]) <= _int(text) <= _int(pair[1]):
            yield rule
    if text in (drawn.gateway, drawn.router):
        yield "is-gateway"
    if text == drawn.station:
        yield "is-station"


def _of_hosts(drawn: Drawing, network: ipaddress.IPv4Network | ipaddress.IPv6Network, row: Row) -> Iterator[str]:
    there = [mac for text, mac in drawn.hosts if text == row.address]
    if there:
        named = {mac for mac in there if mac is not None}
        yield "already-there" if named and named == {row.mac} else "taken-on-site"
    own = {other.mac for _, other in drawn.rows if other.device == row.device and other.mac is not None}
    with_mac = {other.address for _, other in drawn.rows if other.mac == row.mac}  # mac-planned-twice, if several
    if row.mac is not None and any(mac == row.mac and text not in with_mac for text, mac in drawn.hosts):
        yield "mac-elsewhere"
    if row.address is None or ipaddress.ip_address(row.address) not in network:
        return
    others = (text for text, mac in drawn.hosts if mac not in own and ipaddress.ip_address(text) in network)
    if 0 < min((abs(_int(text) - _int(row.address)) for text in others), default=0) < drawn.keep_clear:  # the nearest
        yield "too-near"


@settings(max_examples=150, deadline=None)
@given(drawings())
def test_rules_agree_with_a_simple_implementation(drawn: Drawing) -> None:
    """Both find the same rules with the same subjects, each once."""
    checked = check(_plan(drawn), (_survey(drawn),), date(2026, 11, 2))
    found = [(finding.rule, finding.subjects) for finding in checked.findings if finding.rule in RULES]
    assert set(found) == _naive(drawn)


@settings(max_examples=60, deadline=None)
@given(drawings())
def test_fixes_fit_together(drawn: Drawing) -> None:
    """No address is offered twice, and no offered address is in use, in a pool or reserved."""
    checked = check(_plan(drawn), (_survey(drawn),), date(2026, 11, 2))
    offers = {
        subject: str(address)
        for finding in checked.findings
        if finding.fix
        for subject, address in finding.fix.addresses
    }
    kept = [row.address for index, (_, row) in enumerate(drawn.rows) if _subject(index, row) not in offers]
    taken = {*kept, drawn.gateway, drawn.router, drawn.station, *(text for text, _ in drawn.hosts)}
    ranges = [pair for pair in (drawn.pool, drawn.reserved) if pair is not None]
    assert len(set(offers.values())) == len(offers)
    assert not set(offers.values()) & taken
    assert not [text for text in offers.values() for low, high in ranges if _int(low) <= _int(text) <= _int(high)]
