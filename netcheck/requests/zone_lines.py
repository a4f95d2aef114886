"""Writes the DNS records of a plan as complete zone file lines, which depend on no directive."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from ipaddress import ip_address

from netcheck.addr import Address
from netcheck.plan.model import Interface, Subnet
from netcheck.requests.model import Request, RequestKind, Zone

UNKNOWN_DOMAIN = "domain-not-in-plan.invalid."
TTL = 3600  # seconds; common practice, no source: the site sets its own
LONGEST = 253  # characters of a name without its last dot: RFC 1035 section 2.3.4
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
        return  # reported by the rule name-unusable, or too long with its domain
    kind = "A" if address.family == 4 else "AAAA"
    reverse = f"{ip_address(str(address)).reverse_pointer}."
    yield ZoneRecord(face, subnet.island, address, "", f"{owner} {TTL} IN {kind} {address}")
    yield ZoneRecord(face, subnet.island, address, _reverse_zone(reverse), f"{reverse} {TTL} IN PTR {target}")


def _absolute(name: str, domain: str) -> str:
    """Return the fully qualified name. A name that contains a dot is fully qualified; the plan's domain completes
    others. Without a domain the name stays relative to the zone; a reverse line cannot, so its target gets a domain
    that cannot exist (RFC 2606)."""
    whole = name.removesuffix(".")
    if "." in whole:
        return f"{whole}."
    return f"{whole}.{domain.strip('.')}." if domain else whole


def _reverse_zone(pointer: str) -> str:
    """Return the reverse zone of the /24 or /64: common practice, no source. RFC 1035 section 3.5 and RFC 3596 section
    2.5 define the labels."""
    labels = pointer.rstrip(".").split(".")
    return ".".join(labels[16:] if labels[-2] == "ip6" else labels[1:]) + "."


def request_of(record: ZoneRecord) -> Request:
    """Return a record as a request."""
    return Request(
        kind=RequestKind.DNS,
        subject=record.interface.subject,
        island=record.island,
        address=str(record.address),
        host_name=record.interface.host_name.text if record.interface.host_name else "",
        what=record.line,
    )


def zones_of(records: Iterable[ZoneRecord]) -> Iterator[Zone]:
    """Yield one file of forward records and one for each reverse zone, by island, since addresses repeat between
    islands."""
    files: dict[tuple[str, str], list[ZoneRecord]] = {}
    for record in records:
        files.setdefault((record.island, record.zone), []).append(record)
    islands = {island for island, _ in files}
    for (island, zone), several in files.items():
        where = f" of island {island}" if len(islands) > 1 else ""
        title = f"Reverse zone {zone}{where}" if zone else f"Names and addresses{where}"
        yield Zone(title, "".join(f"{line}\n" for line in dict.fromkeys(record.line for record in several)))
