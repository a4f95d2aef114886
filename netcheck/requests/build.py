"""Derives the requests to IT from a plan and its findings.

Kinds: reservations, pool changes, DNS records, routed conversations and switch ports. If an open conflict affects an
address, its requests have a note that they wait, and it gets no DNS record.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from ipaddress import ip_address

from netcheck.addr import Address, Range
from netcheck.plan.model import Cell, GrantedRequest, Interface, Plan, Position, Subnet, Translation
from netcheck.plan.renamed import renamed_interfaces
from netcheck.requests.model import Asked, Request, RequestKind, Zone
from netcheck.requests.routed_conversations import Face, address_of, requests_of
from netcheck.rules.catalogue import RULE_NAMED
from netcheck.rules.engine import Checked
from netcheck.rules.finding import Finding, Severity
from netcheck.rules.rule import Readdress
from netcheck.space.addressing import interfaces_by_family, plan_with
from netcheck.text import listed, natural_key

WITHDRAWN = "no longer requested: withdraw it"
MOST = 50  # addresses, subjects or ranges in one cell; the others are counted
# A switch and its port: the port begins after the first space, slash, colon or comma.
_SWITCH_PORT = re.compile(r"(?P<switch>[^\s/:,]+)[\s/:,]+(?P<port>.+)")
_THERE = {
    "already-there": "already on the site with this MAC",
    "reservation-made": "a list of the site already has it for this device",
}
# Conflicts whose correction changes neither address nor MAC nor name: no reservation waits for them.
_KEEP_ADDRESS = {
    "mask-broken", "mask-differs", "gateway-off-link", "gateway-unusable", "no-way-there", "no-way-back",
    "switch-port-twice",
}  # fmt: skip


def asked_of(checked: Checked) -> Asked:
    """Return the requests of a checked plan. Zone lines of granted DNS records are left out."""
    work = _Work(checked)
    granted = {identity_of(one): grant_words(one) for one in checked.plan.granted}
    records = [(record, _marked(request_of(record), granted)) for record in work.records()]
    talks = requests_of(work.plan, checked.conversations, work.faces)
    others = [*talks, *sorted(work.switch_ports(), key=_by_switch_port)]
    first = [_marked(one, granted) for one in (*work.reservations(), *work.pools())]
    last = [_marked(one, granted) for one in others]
    requests = (*first, *(request for _, request in records), *last)
    return Asked(requests, tuple(zones_of(record for record, request in records if not request.granted)))


def identity_of(request: Request | GrantedRequest) -> tuple[str, ...]:
    """Return the values that identify a request in an answered file and in the plan, with single spaces."""
    values = (str(request.kind), request.subject, request.island, request.address, request.what)
    return tuple(" ".join(value.split()) for value in values)


def grant_words(grant: GrantedRequest) -> str:
    """Return who granted a request, when, and under which ticket."""
    day = f" on {grant.decided}" if grant.decided else ""
    return f"by {grant.by}{day}" + (f" ticket {grant.ticket}" if grant.ticket else "")


def _marked(request: Request, granted: Mapping[tuple[str, ...], str]) -> Request:
    """Return a request with its grant, if the plan holds one."""
    words = granted.get(identity_of(request), "")
    if not words or request.granted:
        return request
    return replace(request, granted=words, note="; ".join(filter(None, (request.note, f"granted {words}"))))


def _by_switch_port(request: Request) -> tuple[tuple[tuple[int, int, str], ...], ...]:
    return tuple(map(natural_key, switch_and_port(request.switch_port)))


def switch_and_port(text: str) -> tuple[str, str]:
    """Return switch and port of a text such as `sw-1/5`, `sw-1 Gi1/0/5` or `sw-1:5` (common practice, no source)."""
    found = _SWITCH_PORT.fullmatch(text.strip())
    return (found["switch"], found["port"]) if found else (text.strip(), "")


def changed_since(checked: Checked, before: Checked) -> tuple[Request, ...]:
    """Return the requests that are new or different since an earlier revision, then the requests to withdraw.

    A renamed interface has the same requests if only its name changed.
    """
    names = renamed_interfaces(before.plan, checked.plan)
    now, asked = asked_of(checked).requests, asked_of(before).requests
    then = [_with_names(one, names) for one in asked]
    known, kept = {_as_asked(one) for one in then}, {_about(one) for one in now}
    gone = (one for one, same in zip(asked, then, strict=True) if _about(same) not in kept and not _done(same, checked))
    withdrawn = (replace(one, note=WITHDRAWN) for one in gone)
    return (*(one for one in now if _as_asked(one) not in known and not one.granted), *withdrawn)


def _as_asked(request: Request) -> Request:
    """Return a request without the notes on what the site has done since."""
    notes = [part for part in request.note.split("; ") if part not in _THERE.values()]
    return replace(request, granted="", note="; ".join(notes))


def _with_names(request: Request, names: Mapping[str, str]) -> Request:
    """Return a request of the earlier revision with the present names of interfaces."""
    if not names:
        return request
    pattern = re.compile("|".join(rf"(?<![^\s,]){re.escape(name)}(?![^\s,])" for name in names))

    def present(text: str) -> str:
        return pattern.sub(lambda found: names[found[0]], text)

    return replace(
        request,
        subject=present(request.subject),
        to=present(request.to),
        what=present(request.what),
        opened_by=present(request.opened_by),
    )


def _done(request: Request, checked: Checked) -> bool:
    """Return whether a request is gone because the site did it: the zone has the record, or the pool was changed."""
    if request.kind is RequestKind.DNS:
        about = request.subject, request.address
        reverse = " IN PTR " in request.what
        named = (one for one in checked.in_zones if (one.own if reverse else one.here))
        return any((one.interface.subject, str(one.address)) == about for one in named)
    subnet = checked.plan.subnet_named.get(request.subnet)
    if request.kind is not RequestKind.POOL or subnet is None:
        return False
    pools = {str(cell.value) for cell in subnet.pools}
    planned = {str(one.address.value) for one in checked.plan.interfaces if one.address and one.address.value}
    inside = re.split(", | and ", request.address)
    return request.what.partition(" becomes ")[0] not in pools and inside[0] in planned


def _about(request: Request) -> tuple[str, ...]:
    """Return the values that distinguish requests: all except the notes. Another address is another request."""
    return request.kind, request.subject, request.island, request.address, request.what.partition(" becomes ")[0]


@dataclass(frozen=True)
class _Work:
    checked: Checked

    @cached_property
    def plan(self) -> Plan:
        """The plan with the addresses that `suggest --write` would write, so that no request has an address that it
        changes.
        """
        return plan_with(self.checked.plan, {subject: address for (subject, _), address in self._fixes.items()})

    @cached_property
    def faces(self) -> tuple[Face, ...]:
        """Return every interface with its subnet; a dual-stack interface appears once for each family."""
        return tuple(interfaces_by_family(self.plan))

    @cached_property
    def _of_site(self) -> tuple[Face, ...]:
        """Return the interfaces in islands whose addresses the site manages."""
        return tuple(one for one in self.faces if one[1].island not in self.plan.islands_without_it)

    @cached_property
    def _conflicts(self) -> dict[str, list[Finding]]:
        """Return the open conflicts by subject."""
        found: dict[str, list[Finding]] = {}
        for finding in self.checked.findings:
            if finding.severity is Severity.CONFLICT:
                for subject in finding.subjects:
                    found.setdefault(subject, []).append(finding)
        return found

    @cached_property
    def _fixes(self) -> dict[tuple[str, int], Address]:
        """Return the proposed addresses by subject and family."""
        fixes = [finding.fix.addresses for finding in self.checked.findings if finding.fix]
        return {(subject, address.family): address for addresses in fixes for subject, address in addresses}

    @cached_property
    def _there(self) -> dict[tuple[str, str | None], str]:
        """Return, by subject and address, a sentence if a list of the site already has the address for the subject."""
        return {(one.subjects[0], one.address): _THERE[one.rule] for one in self.checked.findings if one.rule in _THERE}

    def _has(self, subject: str, address: Address) -> bool:
        """Return whether an address is the interface's own in the plan; then `granted` in its row means it."""
        cell = self.checked.plan.interface_named[subject].address
        return cell is not None and cell.value == address

    def _planned(self, subject: str, address: Address) -> Cell[Address] | None:
        """Return the address in the plan if another address is proposed, else None."""
        if self._fixes.get((subject, address.family)) != address:
            return None
        cell = self.checked.plan.interface_named[subject].address
        return Cell("", None, Position("")) if cell is None else cell

    def _waits_for(self, subject: str, address: Address, subnet: str = "") -> list[str]:
        """Return the open conflicts that may change the address, MAC or name, or that concern the subnet.

        A proposed address waits for every finding that it resolves, risks included.
        """
        was = self._planned(subject, address)
        if was is not None:
            moved = [one.rule for one in self.checked.findings if one.fix and subject in dict(one.fix.addresses)]
            address = was.value or address
        else:
            moved = []
        own = [
            one.rule
            for one in self._conflicts.get(subject, ())
            if RULE_NAMED[one.rule].readdress is Readdress.NONE or one.address in (None, str(address))
        ]
        of_subnet = [f"{one.rule} of subnet {subnet}" for one in self._conflicts.get(subnet, ())]
        return [rule for rule in dict.fromkeys(moved + own + of_subnet) if rule.split()[0] not in _KEEP_ADDRESS]

    def _note(self, subject: str, address: Address, subnet: str = "", granted: str = "") -> str:
        rules = self._waits_for(subject, address, subnet)
        was = self._planned(subject, address)
        notes = [f"wait until resolved: {listed(rules)}"] if rules else []
        if was is not None:
            none = "proposed, because the plan has no address yet"
            notes.append(f"proposed instead of {was.text}, which the plan still has" if was.text else none)
        notes += filter(None, [self._there.get((subject, str(address)), "")])
        return "; ".join([*notes, *([f"granted by {granted}"] if granted else [])])

    def reservations(self) -> Iterator[Request]:
        """Yield one request for each interface and family, and for the outside addresses of translations."""
        for face, subnet in self._of_site:
            if face.address is None or face.address.value is None:
                yield self._without_address(face, subnet)
            else:
                granted = face.granted if self._has(face.subject, face.address.value) else ""
                note = self._note(face.subject, face.address.value, subnet.name, granted)
                asked = self._of(face, subnet, RequestKind.RESERVATION, str(face.address.value), note=note)
                yield replace(asked, granted=granted)
        for one in self.plan.translations:
            if one.outside.value is not None:
                yield self._outside(one, one.outside.value)

    def _without_address(self, face: Interface, subnet: Subnet) -> Request:
        note = f"not readable: {face.address.text}" if face.address else "no address planned yet"
        if face.dhcp and face.address is None:
            note = "it gets its address by DHCP: reserve one for this MAC, and return the address"
        return self._of(face, subnet, RequestKind.RESERVATION, note=note)

    def _outside(self, one: Translation, address: Address) -> Request:
        inside = f"translated to {one.inside.text} of {one.island}"
        note = "; ".join(filter(None, (inside, self._note(one.subject, address))))
        return Request(
            kind=RequestKind.RESERVATION,
            subject=one.subject,
            island=self.plan.outer_island(one),
            address=str(address),
            note=note,
        )

    def _of(
        self, face: Interface, subnet: Subnet, kind: RequestKind, address: str = "", what: str = "", note: str = ""
    ) -> Request:
        """Return a request with the values of an interface and its subnet."""
        return Request(
            kind=kind,
            subject=face.subject,
            island=subnet.island,
            address=address,
            mac=str(face.mac.value) if face.mac and face.mac.value else "",
            host_name=face.host_name.text if face.host_name else "",
            subnet=subnet.name,
            vlan=str(subnet.vlan) if subnet.vlan is not None else "",
            switch_port=face.switch_port.text if face.switch_port else "",
            what=what,
            note=note,
        )

    def pools(self) -> Iterator[Request]:
        """Yield a request for each pool that contains planned addresses, with the ranges that would remain.

        Addresses that a proposal moves out of the pool count, because the site can keep them by changing the pool.
        """
        faces = [
            (face, subnet.island, face.address.value)
            for face, subnet in interfaces_by_family(self.checked.plan)
            if subnet.island not in self.plan.islands_without_it
            if face.address is not None and face.address.value is not None
        ]
        for subnet in self.plan.subnets:
            for pool in (cell.value for cell in subnet.pools if cell.value is not None):
                inside = [
                    (face, address)
                    for face, island, address in faces
                    if island == subnet.island and pool.holds(address)
                ]
                if inside:
                    yield self._pool(subnet, pool, inside)

    def _pool(self, subnet: Subnet, pool: Range, inside: list[tuple[Interface, Address]]) -> Request:
        """Return the request to take the planned addresses *inside* out of a pool."""
        left = list(_without(pool, {address.value for _, address in inside}))
        moving = [face.subject for face, _ in inside if not face.granted]
        note = f"only if {listed(moving)} keep{'s' if len(moving) == 1 else ''} the address" if moving else ""
        return Request(
            kind=RequestKind.POOL,
            subject=listed([face.subject for face, _ in inside], MOST),
            island=subnet.island,
            address=listed([str(address) for _, address in inside], MOST),
            subnet=subnet.name,
            vlan=str(subnet.vlan) if subnet.vlan is not None else "",
            what=f"{pool} becomes {listed([str(one) for one in left], MOST) if left else 'nothing'}",
            note=note,
        )

    def records(self) -> Iterator[ZoneRecord]:
        """Yield forward and reverse records of addresses without a conflict.

        Records that a zone already has are left out.
        """
        forward = {(one.interface.subject, one.address) for one in self.checked.in_zones if one.here}
        reverse = {(one.interface.subject, one.address) for one in self.checked.in_zones if one.own}
        for face, subnet in self._of_site:
            address = face.address.value if face.address else None
            if address is not None and not self._waits_for(face.subject, address, subnet.name):
                for record in records_of(face, subnet, self.plan.domain):
                    if (face.subject, address) not in (reverse if record.zone else forward):
                        yield record

    def switch_ports(self) -> Iterator[Request]:
        """Yield the switch ports that the plan names, with their VLAN."""
        for face in self.plan.interfaces:
            own = self.plan.island_of(face) in self.plan.islands_without_it
            if face.switch_port is not None and face.switch_port.text and not own:
                twice = [
                    one.message for one in self._conflicts.get(face.subject, ()) if one.rule == "switch-port-twice"
                ]
                subnet = self.plan.subnet_of(face)
                ports = "" if face.ports == ("1",) else f"port {listed(list(face.ports), joint='or')} of the interface"
                note = "; ".join(filter(None, (ports, *twice)))
                yield self._of(face, subnet, RequestKind.SWITCH_PORT, address_of(face), note=note)


def _without(pool: Range, taken: set[int]) -> Iterator[Range]:
    low = pool.low
    for address in sorted(taken):
        if low < address:
            yield Range(pool.family, low, address - 1)
        low = address + 1
    if low <= pool.high:
        yield Range(pool.family, low, pool.high)


UNKNOWN_DOMAIN = "domain-not-in-plan.invalid."
TTL = 3600  # seconds; common practice, no source: the site sets its own
LONGEST = 253  # characters of a name without its final dot: RFC 1035 section 2.3.4
# Letters, digits and hyphens: RFC 952, RFC 1123 section 2.1; at most 63: RFC 1035 section 2.3.4.
_NAME = re.compile(r"(?:[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?\.)+", re.ASCII)


@dataclass(frozen=True, slots=True)
class ZoneRecord:
    """One DNS record; `zone` is its reverse zone, empty for a forward record."""

    interface: Interface
    island: str
    address: Address
    zone: str
    line: str


def records_of(face: Interface, subnet: Subnet, domain: str) -> Iterator[ZoneRecord]:
    """Yield the forward and reverse record of an interface that has an address and a valid name."""
    name = face.host_name.value if face.host_name else None
    address = face.address.value if face.address else None
    if not name or address is None:
        return
    owner = _absolute(name, domain)
    target = owner if owner.endswith(".") else f"{owner}.{UNKNOWN_DOMAIN}"
    if not _NAME.fullmatch(target) or len(target) > LONGEST + 1:
        return  # the rule name-unusable reports it, or it is too long with its domain
    kind = "A" if address.family == 4 else "AAAA"
    reverse = f"{ip_address(str(address)).reverse_pointer}."
    yield ZoneRecord(face, subnet.island, address, "", f"{owner} {TTL} IN {kind} {address}")
    yield ZoneRecord(face, subnet.island, address, _reverse_zone(reverse), f"{reverse} {TTL} IN PTR {target}")


def _absolute(name: str, domain: str) -> str:
    """Return the fully qualified name.

    A name that contains a dot is fully qualified; the plan's domain completes other names. Without a domain the name
    stays relative to the zone. The target of a reverse line cannot be relative, so it gets a domain that cannot exist
    (RFC 2606).
    """
    whole = name.removesuffix(".")
    if "." in whole:
        return f"{whole}."
    return f"{whole}.{domain.strip('.')}." if domain else whole


def _reverse_zone(pointer: str) -> str:
    """Return the reverse zone of the /24 or /64 (common practice, no source).

    RFC 1035 section 3.5 and RFC 3596 section 2.5 define the labels.
    """
    labels = pointer.rstrip(".").split(".")
    return ".".join(labels[16:] if labels[-2] == "ip6" else labels[1:]) + "."


def request_of(record: ZoneRecord) -> Request:
    """Return the request to enter a DNS record."""
    return Request(
        kind=RequestKind.DNS,
        subject=record.interface.subject,
        island=record.island,
        address=str(record.address),
        host_name=record.interface.host_name.text if record.interface.host_name else "",
        what=record.line,
    )


def zones_of(records: Iterable[ZoneRecord]) -> Iterator[Zone]:
    """Yield one file of forward records and one for each reverse zone.

    Each island has its own files, because islands can have the same addresses.
    """
    files: dict[tuple[str, str], list[ZoneRecord]] = {}
    for record in records:
        files.setdefault((record.island, record.zone), []).append(record)
    islands = {island for island, _ in files}
    for (island, zone), several in files.items():
        where = f" of island {island}" if len(islands) > 1 else ""
        title = f"Reverse zone {zone}{where}" if zone else f"Names and addresses{where}"
        yield Zone(title, "".join(f"{line}\n" for line in dict.fromkeys(record.line for record in several)))
