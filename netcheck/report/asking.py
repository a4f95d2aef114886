"""What the site's IT is asked for, worked out from the plan and its findings: one request a row. Pure.

Reservations, changes of pools, DNS records, conversations through routers, and switch ports. What an open conflict
stands against is asked for with the note that it waits, and gets no DNS record.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from ipaddress import ip_address

from netcheck.addr import Address, Range
from netcheck.plan.model import Interface, Plan, Subnet, Translation
from netcheck.rules.engine import Checked
from netcheck.rules.finding import Finding, Severity
from netcheck.rules.paths import Outcome, Walk
from netcheck.space.faces import faces_of
from netcheck.text import listed

MOST = 50  # addresses, subjects or ranges in one cell; the rest as a count
UNKNOWN_DOMAIN = "domain-not-in-plan.invalid."
TTL = 3600  # seconds; common practice, no source: the site puts its own
_HOST_NAME = re.compile(r"[A-Za-z0-9.-]{1,253}", re.ASCII)  # what the rules let through; anything else waits


class Kind(StrEnum):
    """What is asked for."""

    RESERVATION = "reservation"
    POOL = "pool change"
    DNS = "DNS record"
    CONVERSATION = "conversation"
    SWITCH_PORT = "switch port"


@dataclass(frozen=True, slots=True)
class Request:
    """One thing asked for; texts are as in the plan, and empty where they do not belong to the kind. `what` is the
    zone line, the pool as it would be, or the far end of a conversation; `note` says what it waits for."""

    kind: Kind
    subject: str
    island: str = ""
    address: str = ""
    mac: str = ""
    host_name: str = ""
    subnet: str = ""
    vlan: str = ""
    switch_port: str = ""
    what: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Zone:
    """Lines of one zone file, fit to be put in (RFC 1035 section 5.1)."""

    title: str
    text: str


@dataclass(frozen=True)
class Asked:
    """Everything that is asked for, in plan order within each kind."""

    requests: tuple[Request, ...]
    zones: tuple[Zone, ...]

    def of(self, kind: str) -> tuple[Request, ...]:
        """The requests of one kind."""
        return tuple(request for request in self.requests if request.kind == kind)


def asked_of(checked: Checked) -> Asked:
    """Work out what to ask for."""
    work = _Work(checked)
    records = tuple(work.records())
    requests = (*work.reservations(), *work.pools(), *map(_dns, records), *work.conversations(), *work.switch_ports())
    return Asked(requests, tuple(_zones(records)))


@dataclass(frozen=True, slots=True)
class _Record:
    """One DNS record. `zone` is its reverse zone, or empty for a forward one."""

    interface: Interface
    island: str
    address: Address
    zone: str
    line: str


@dataclass(frozen=True)
class _Work:
    checked: Checked

    @property
    def _plan(self) -> Plan:
        return self.checked.plan

    @cached_property
    def _conflicts(self) -> dict[str, list[Finding]]:
        """Open conflicts by subject."""
        found: dict[str, list[Finding]] = {}
        for finding in self.checked.findings:
            if finding.severity is Severity.CONFLICT:
                for subject in finding.subjects:
                    found.setdefault(subject, []).append(finding)
        return found

    @cached_property
    def _fixes(self) -> dict[str, str]:
        """Proposed addresses by subject."""
        fixes = [finding.fix.addresses for finding in self.checked.findings if finding.fix]
        return {subject: str(address) for addresses in fixes for subject, address in addresses}

    @cached_property
    def _there(self) -> frozenset[str]:
        return frozenset(one.subjects[0] for one in self.checked.findings if one.rule == "already-there")

    def _note(self, subject: str, granted: str = "") -> str:
        rules = list(dict.fromkeys(finding.rule for finding in self._conflicts.get(subject, ())))
        notes = [f"not before this is settled: {listed(rules)}"] if rules else []
        notes += [f"{self._fixes[subject]} is proposed in its place"] if rules and subject in self._fixes else []
        notes += ["already on the site with this MAC"] if subject in self._there else []
        return "; ".join([*notes, *([f"granted by {granted}"] if granted else [])])

    def reservations(self) -> Iterator[Request]:
        """An address for each interface, each face by itself, and the outside addresses of translations."""
        for face, subnet in faces_of(self._plan):
            if face.address is None or face.address.value is None:
                yield self._without_address(face, subnet)
            else:
                note = self._note(face.subject, face.granted)
                yield self._of(face, subnet, Kind.RESERVATION, str(face.address.value), note=note)
        for one in self._plan.translations:
            if one.outside.value is not None:
                yield self._outside(one)

    def _without_address(self, face: Interface, subnet: Subnet) -> Request:
        note = f"not readable: {face.address.text}" if face.address else "no address planned yet"
        proposed = self._fixes.get(face.subject)
        return self._of(face, subnet, Kind.RESERVATION, note=f"{note}; {proposed} is proposed" if proposed else note)

    def _outside(self, one: Translation) -> Request:
        note = "; ".join(filter(None, (f"translated to {one.inside.text} of {one.island}", self._note(one.subject))))
        island = self._plan.outer_island(one)
        return Request(Kind.RESERVATION, one.subject, island, str(one.outside.value), note=note)

    def _of(
        self, face: Interface, subnet: Subnet, kind: Kind, address: str = "", what: str = "", note: str = ""
    ) -> Request:
        return Request(
            kind,
            face.subject,
            subnet.island,
            address,
            str(face.mac.value) if face.mac and face.mac.value else "",
            face.host_name.text if face.host_name else "",
            subnet.name,
            str(subnet.vlan) if subnet.vlan is not None else "",
            face.switch_port.text if face.switch_port else "",
            what,
            note,
        )

    def pools(self) -> Iterator[Request]:
        """For each pool that planned addresses lie in, what would be left of it without these."""
        faces = [
            (face, subnet.island, face.address.value)
            for face, subnet in faces_of(self._plan)
            if face.address is not None and face.address.value is not None
        ]
        for subnet in self._plan.subnets:
            for pool in (cell.value for cell in subnet.pools if cell.value is not None):
                inside = [
                    (face, address)
                    for face, island, address in faces
                    if island == subnet.island and pool.holds(address)
                ]
                if inside:
                    yield self._pool(subnet, pool, inside)

    def _pool(self, subnet: Subnet, pool: Range, inside: list[tuple[Interface, Address]]) -> Request:
        left = list(_without(pool, {address.value for _, address in inside}))
        moving = [face.subject for face, _ in inside if not face.granted]
        note = f"or move {listed(moving)}" if moving else ""
        return Request(
            Kind.POOL,
            listed([face.subject for face, _ in inside], MOST),
            subnet.island,
            listed([str(address) for _, address in inside], MOST),
            subnet=subnet.name,
            vlan=str(subnet.vlan) if subnet.vlan is not None else "",
            what=f"{pool} becomes {listed([str(one) for one in left], MOST) if left else 'nothing'}",
            note=note,
        )

    def records(self) -> Iterator[_Record]:
        """Forward and reverse, for what has a usable name and address and no open conflict."""
        for face, subnet in faces_of(self._plan):
            name = face.host_name.value if face.host_name else None
            if name is None or face.address is None or face.address.value is None or not _HOST_NAME.fullmatch(name):
                continue
            if face.subject not in self._conflicts:
                address = face.address.value
                owner = _absolute(name, self._plan.domain)
                target = owner if owner.endswith(".") else f"{owner}.{UNKNOWN_DOMAIN}"
                kind = "A" if address.family == 4 else "AAAA"
                reverse = f"{ip_address(str(address)).reverse_pointer}."
                yield _Record(face, subnet.island, address, "", f"{owner} {TTL} IN {kind} {address}")
                yield _Record(face, subnet.island, address, _reverse_zone(reverse), f"{reverse} {TTL} IN PTR {target}")

    def conversations(self) -> Iterator[Request]:
        """Those that go through a router or a translation, since only these can meet a firewall."""
        for talk in self.checked.talks:
            one, two = (self._plan.interface_named[end] for end in (talk.conversation.source, talk.conversation.target))
            if one.subnet != two.subnet:
                why = [talk.conversation.why] if talk.conversation.why else []
                yield Request(
                    Kind.CONVERSATION,
                    one.subject,
                    self._plan.island_of(one),
                    _address_of(one),
                    subnet=one.subnet,
                    what=f"{two.subject} {_address_of(two)} ({two.subnet}), both ways",
                    note="; ".join([*why, *_undelivered("there", talk.there), *_undelivered("back", talk.back)]),
                )

    def switch_ports(self) -> Iterator[Request]:
        """The switch ports that the plan names, with the VLAN that each is to be in."""
        for face in self._plan.interfaces:
            if face.switch_port is not None and face.switch_port.text:
                twice = [
                    one.message for one in self._conflicts.get(face.subject, ()) if one.rule == "switch-port-twice"
                ]
                subnet = self._plan.subnet_of(face)
                ports = "" if face.ports == ("1",) else f"port {listed(list(face.ports), joint='or')} of the interface"
                note = "; ".join(filter(None, (ports, *twice)))
                yield self._of(face, subnet, Kind.SWITCH_PORT, _address_of(face), note=note)


def _undelivered(way: str, walk: Walk) -> list[str]:
    if walk.outcome is Outcome.DELIVERED:
        return []
    return [f"{way} {walk.outcome.value}: {walk.why}"]


def _address_of(face: Interface) -> str:
    return str(face.address.value or face.address.text) if face.address else "no address yet"


def _without(pool: Range, taken: set[int]) -> Iterator[Range]:
    low = pool.low
    for address in sorted(taken):
        if low < address:
            yield Range(pool.family, low, address - 1)
        low = address + 1
    if low <= pool.high:
        yield Range(pool.family, low, pool.high)


def _absolute(name: str, domain: str) -> str:
    """A name with a dot in it is whole; one without is of the plan's domain. Where the plan has none it stays as it is,
    of the zone that it is put into; a reverse line cannot say that, so its target gets a domain that nobody can have
    (RFC 2606)."""
    whole = name.rstrip(".")
    if "." in whole:
        return f"{whole}."
    return f"{whole}.{domain.strip('.')}." if domain else whole


def _reverse_zone(pointer: str) -> str:
    """The zone of a /24, or of a /64: common practice, no source; RFC 1035 section 3.5 and RFC 3596 section 2.5 name
    the labels."""
    labels = pointer.rstrip(".").split(".")
    return ".".join(labels[16:] if labels[-2] == "ip6" else labels[1:]) + "."


def _dns(record: _Record) -> Request:
    return Request(
        Kind.DNS,
        record.interface.subject,
        record.island,
        str(record.address),
        host_name=record.interface.host_name.text if record.interface.host_name else "",
        what=record.line,
    )


def _zones(records: Iterable[_Record]) -> Iterator[Zone]:
    """One file for the names and one for each reverse zone, each island by itself: addresses repeat between them."""
    files: dict[tuple[str, str], list[_Record]] = {}
    for record in records:
        files.setdefault((record.island, record.zone), []).append(record)
    islands = {island for island, _ in files}
    for (island, zone), several in files.items():
        where = f" of island {island}" if len(islands) > 1 else ""
        title = f"Reverse zone {zone}{where}" if zone else f"Names and addresses{where}"
        yield Zone(title, "".join(f"{line}\n" for line in dict.fromkeys(record.line for record in several)))
