"""Compares host names without regard to case, and pairs planned names with the DNS records of their island.

A planned name without a dot is completed with the plan's domain. If the plan has no domain, such a name matches every
record whose first label is that name. A name that contains a dot is fully qualified (RFC 1034 section 3.1 leaves
completion to the user's software).
"""

from __future__ import annotations

from functools import cache
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
    here: tuple[NameRecord, ...]  # the forward records that have the planned address
    pointers: tuple[NameRecord, ...]
    own: tuple[NameRecord, ...]
    alias: Alias | None = None  # a CNAME record of the name that does not lead to the planned address


class _Zones:
    """The records of one island, searched by name and by address.

    Any number of interfaces may have one name or one address, so each search is made once.
    """

    def __init__(self, domain: str) -> None:
        self._domain = domain
        self._forward: dict[str, list[NameRecord]] = {}  # by first label
        self._pointers: dict[Address, list[NameRecord]] = {}
        self._labels: dict[tuple[Address, str], list[NameRecord]] = {}  # pointers by address and first label
        self._aliases: dict[str, list[Alias]] = {}  # by first label
        self.forward_of, self.here_of = cache(self._forward_of), cache(self._here_of)
        self.pointers_of, self.own_of = cache(self._pointers_of), cache(self._own_of)
        self.wrong_alias_of = cache(self._wrong_alias_of)

    def add(self, record: NameRecord) -> None:
        """Add one record."""
        label = folded(record.name).partition(".")[0]
        if record.kind is RecordKind.PTR:
            self._pointers.setdefault(record.address, []).append(record)
            self._labels.setdefault((record.address, label), []).append(record)
        else:
            self._forward.setdefault(label, []).append(record)

    def add_alias(self, alias: Alias) -> None:
        """Add one CNAME record."""
        self._aliases.setdefault(folded(alias.name).partition(".")[0], []).append(alias)

    def _forward_of(self, name: str, family: int) -> tuple[NameRecord, ...]:
        """Return the forward records of a planned name in an address family."""
        records = self._forward.get(name.partition(".")[0], ())
        return tuple(one for one in records if one.address.family == family and _is(name, one, self._domain))

    def _here_of(self, name: str, family: int) -> dict[Address, tuple[NameRecord, ...]]:
        """Return the forward records of a planned name by their address."""
        found: dict[Address, list[NameRecord]] = {}
        for record in self.forward_of(name, family):
            found.setdefault(record.address, []).append(record)
        return {address: tuple(records) for address, records in found.items()}

    def _pointers_of(self, address: Address) -> tuple[NameRecord, ...]:
        """Return the PTR records of an address."""
        return tuple(self._pointers.get(address, ()))

    def _own_of(self, name: str, address: Address) -> tuple[NameRecord, ...]:
        """Return the PTR records of an address that have a planned name."""
        records = self._labels.get((address, name.partition(".")[0]), ())
        return tuple(one for one in records if _is(name, one, self._domain))

    def _wrong_alias_of(self, name: str, address: Address) -> Alias | None:
        """Return the first alias of a planned name that does not lead to an address."""
        aliases = (one for one in self._aliases.get(name.partition(".")[0], ()) if _is(name, one, self._domain))
        return next((one for one in aliases if address not in self._addresses_of(folded(one.target))), None)

    def _addresses_of(self, name: str) -> set[Address]:
        """Return the addresses of a name (in comparable form), through at most `LONGEST_CHAIN` aliases."""
        for _ in range(LONGEST_CHAIN):
            label = name.partition(".")[0]
            found = {one.address for one in self._forward.get(label, ()) if folded(one.name) == name}
            target = next((one.target for one in self._aliases.get(label, ()) if folded(one.name) == name), None)
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
            zones.setdefault(survey.island, _Zones(plan.domain)).add(record)
        for alias in survey.aliases:
            zones.setdefault(survey.island, _Zones(plan.domain)).add_alias(alias)
    found = (_named(one, zones[subnet.island]) for one, subnet in interfaces if subnet.island in zones)
    return tuple(one for one in found if one is not None)


def _named(interface: Interface, zones: _Zones) -> PlannedName | None:
    address = interface.address.value if interface.address else None
    typed = interface.host_name.text if interface.host_name else ""
    name = folded(typed)
    if address is None or not name:
        return None
    return PlannedName(
        interface=interface,
        name=typed,
        address=address,
        forward=zones.forward_of(name, address.family),
        here=zones.here_of(name, address.family).get(address, ()),
        pointers=zones.pointers_of(address),
        own=zones.own_of(name, address),
        alias=zones.wrong_alias_of(name, address),
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
