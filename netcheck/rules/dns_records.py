"""What zones say of planned names and addresses: the records by name and the pointers by address, each island's own.

A planned name without a dot is that of a record in the plan's domain; where the plan names no domain, of a record whose
first label it is.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from netcheck.addr import Address
from netcheck.plan.model import Interface, Plan, Subnet
from netcheck.survey.host_table import folded
from netcheck.survey.model import Survey
from netcheck.survey.name_records import NameRecord, RecordKind


@dataclass(frozen=True, slots=True)
class PlannedName:
    """A planned address with its name, and what zones of its island have: records of that name and family, and
    pointers of that address, `own` those to the name."""

    interface: Interface
    name: str
    address: Address
    forward: tuple[NameRecord, ...]
    pointers: tuple[NameRecord, ...]
    own: tuple[NameRecord, ...]

    @property
    def here(self) -> tuple[NameRecord, ...]:
        """The records that have the planned address."""
        return tuple(record for record in self.forward if record.address == self.address)


@dataclass
class _Zones:
    """The records of one island: forward ones by their first label, pointers by address."""

    forward: dict[str, list[NameRecord]] = field(default_factory=dict)
    pointers: dict[Address, list[NameRecord]] = field(default_factory=dict)

    def add(self, record: NameRecord) -> None:
        """Take one record."""
        if record.kind is RecordKind.PTR:
            self.pointers.setdefault(record.address, []).append(record)
        else:
            self.forward.setdefault(folded(record.name).partition(".")[0], []).append(record)


def planned_names(
    plan: Plan, surveys: tuple[Survey, ...], faces: tuple[tuple[Interface, Subnet], ...]
) -> tuple[PlannedName, ...]:
    """Every planned name and address of which a zone of its island says anything."""
    zones: dict[str, _Zones] = {}
    for survey in surveys:
        for record in survey.records:
            zones.setdefault(survey.island, _Zones()).add(record)
    found = (_named(plan.domain, face, zones[subnet.island]) for face, subnet in faces if subnet.island in zones)
    return tuple(one for one in found if one is not None)


def _named(domain: str, face: Interface, zones: _Zones) -> PlannedName | None:
    address = face.address.value if face.address else None
    name = folded(face.host_name.text) if face.host_name else ""
    if address is None or not name:
        return None
    forward = tuple(
        record
        for record in zones.forward.get(name.partition(".")[0], ())
        if record.address.family == address.family and _is(name, record, domain)
    )
    pointers = tuple(zones.pointers.get(address, ()))
    own = tuple(record for record in pointers if _is(name, record, domain))
    return PlannedName(face, face.host_name.text if face.host_name else "", address, forward, pointers, own)


def _is(planned: str, record: NameRecord, domain: str) -> bool:
    """Say whether a record's name is a planned one's; both folded."""
    name = folded(record.name)
    if name == planned:
        return True
    if not record.absolute:
        return planned.startswith(f"{name}.")
    if "." in planned:
        return False
    return name == f"{planned}.{folded(domain)}" if domain else name.partition(".")[0] == planned
