"""Compares host names without regard to case, and pairs planned names with the DNS records of their island.

A planned name without a dot is completed with the plan's domain. If the plan has no domain, such a name matches every
record whose first label is that name. A name that contains a dot is fully qualified (RFC 1034 section 3.1 leaves
completion to the user's software).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

from netcheck.addr import Address
from netcheck.plan.model import Interface, Plan, Subnet
from netcheck.survey.host_table import folded
from netcheck.survey.model import Alias, NameRecord, RecordKind, Survey

LONGEST_CHAIN = 8  # aliases that are followed from one name; common practice, no source


def full_name(name: str, domain: str) -> str:
    """Return the form in which names are compared; a name without a dot is completed with the domain, if any."""
    plain = folded(name)
    return f"{plain}.{folded(domain)}" if plain and domain and "." not in plain else plain


def spellings(name: str, domain: str) -> tuple[str, ...]:
    """Return the two spellings that a list may use for a planned name, bare and fully qualified, in comparable form."""
    plain, full = folded(name), full_name(name, domain)
    suffix = f".{folded(domain)}"
    bare = full.removesuffix(suffix) if domain else full
    return tuple(dict.fromkeys((plain, full, bare) if "." not in bare else (plain, full)))


def may_be_same(planned: str, listed: str, domain: str) -> bool:
    """Return whether a listed name can be the planned one.

    If the plan has no domain and one of the two names is bare, the first labels are compared.
    """
    one, two = full_name(planned, domain), full_name(listed, domain)
    if one == two or domain or not one or not two:
        return bool(one) and one == two
    bare = "." not in one or "." not in two
    return bare and one.partition(".")[0] == two.partition(".")[0]


class PlannedName(NamedTuple):
    """A planned address and name with the DNS records of its island.

    `forward` are the records of the name in the address family of the address. `pointers` are the PTR records of the
    address, `own` the pointers with the planned name.
    """

    interface: Interface
    name: str
    address: Address
    forward: tuple[NameRecord, ...]
    pointers: tuple[NameRecord, ...]
    own: tuple[NameRecord, ...]
    alias: Alias | None = None  # a CNAME record of the name that does not lead to the planned address

    @property
    def here(self) -> tuple[NameRecord, ...]:
        """Return the forward records that have the planned address."""
        return tuple(record for record in self.forward if record.address == self.address)


@dataclass
class _Zones:
    """The records of one island: forward records by first label, pointers by address."""

    forward: dict[str, list[NameRecord]] = field(default_factory=dict)
    pointers: dict[Address, list[NameRecord]] = field(default_factory=dict)
    aliases: dict[str, list[Alias]] = field(default_factory=dict)

    def add(self, record: NameRecord) -> None:
        """Add one record."""
        if record.kind is RecordKind.PTR:
            self.pointers.setdefault(record.address, []).append(record)
        else:
            self.forward.setdefault(folded(record.name).partition(".")[0], []).append(record)

    def add_alias(self, alias: Alias) -> None:
        """Add one CNAME record."""
        self.aliases.setdefault(folded(alias.name).partition(".")[0], []).append(alias)

    def addresses_of(self, name: str) -> set[Address]:
        """Return the addresses of a name (in comparable form), through at most `LONGEST_CHAIN` aliases."""
        for _ in range(LONGEST_CHAIN):
            label = name.partition(".")[0]
            found = {one.address for one in self.forward.get(label, ()) if folded(one.name) == name}
            target = next((one.target for one in self.aliases.get(label, ()) if folded(one.name) == name), None)
            if found or target is None:
                return found
            name = folded(target)
        return set()


def planned_names(
    plan: Plan, surveys: tuple[Survey, ...], interfaces: tuple[tuple[Interface, Subnet], ...]
) -> tuple[PlannedName, ...]:
    """Return every planned name and address, in plan order, whose island has DNS records."""
    zones: dict[str, _Zones] = {}
    for survey in surveys:
        for record in survey.records:
            zones.setdefault(survey.island, _Zones()).add(record)
        for alias in survey.aliases:
            zones.setdefault(survey.island, _Zones()).add_alias(alias)
    found = (_named(plan.domain, one, zones[subnet.island]) for one, subnet in interfaces if subnet.island in zones)
    return tuple(one for one in found if one is not None)


def _named(domain: str, interface: Interface, zones: _Zones) -> PlannedName | None:
    address = interface.address.value if interface.address else None
    typed = interface.host_name.text if interface.host_name else ""
    name = folded(typed)
    if address is None or not name:
        return None
    forward = tuple(
        record
        for record in zones.forward.get(name.partition(".")[0], ())
        if record.address.family == address.family and _is(name, record, domain)
    )
    pointers = tuple(zones.pointers.get(address, ()))
    own = tuple(record for record in pointers if _is(name, record, domain))
    aliases = (one for one in zones.aliases.get(name.partition(".")[0], ()) if _is(name, one, domain))
    wrong = (one for one in aliases if address not in zones.addresses_of(folded(one.target)))
    return PlannedName(
        interface=interface,
        name=typed,
        address=address,
        forward=forward,
        pointers=pointers,
        own=own,
        alias=next(wrong, None),
    )


def _is(planned: str, record: NameRecord | Alias, domain: str) -> bool:
    """Return whether a record has a planned name, which is given in comparable form."""
    name = folded(record.name)
    if name == planned:
        return True
    if not record.absolute:
        return planned.startswith(f"{name}.")
    if "." in planned:
        return False
    return name == f"{planned}.{folded(domain)}" if domain else name.partition(".")[0] == planned
