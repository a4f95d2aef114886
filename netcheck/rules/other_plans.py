"""The other plans of one call: a check compares a plan with them, and proposals avoid their addresses.

Addresses and host names may repeat between islands, so they are compared only within islands of the same name. MACs and
switch ports are compared everywhere. A machine's own island (`site = false`) belongs to its plan alone; only its MACs
are compared. Two revisions of one plan are not compared.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import chain
from pathlib import Path
from typing import NamedTuple

from netcheck.addr import Address, Mac, Range
from netcheck.plan.model import Interface, Plan, Subnet
from netcheck.rules.names import full_name
from netcheck.space.intervals import single
from netcheck.space.occupancy import Island, islands_of


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class OtherPlan:
    """Another plan of the call.

    `label` names it in messages. If `keeps`, this other plan keeps an address that both plans have. `proposed` are the
    islands and addresses that this call proposes for it.
    """

    label: str
    plan: Plan
    keeps: bool = False
    proposed: tuple[tuple[str, Address], ...] = ()

    @cached_property
    def islands(self) -> dict[str, Island]:
        """Return the islands of this plan, without site hosts."""
        return islands_of(self.plan, ())

    def used(self) -> Iterator[tuple[str, Range]]:
        """Yield the island and the range of everything that this plan uses, including proposed addresses."""
        for name, island in self.islands.items():
            if name not in self.plan.own_islands:
                yield from ((name, span) for span in island.claimed.ranges())
        yield from ((name, single(address)) for name, address in self.proposed)


class Elsewhere(NamedTuple):
    """An interface of another plan."""

    other: OtherPlan
    interface: Interface

    def __str__(self) -> str:
        return f"{self.interface.subject} in plan {self.other.label}"

    @property
    def own_island(self) -> bool:
        """Return whether the interface is in a machine's own island."""
        return self.other.plan.island_of(self.interface) in self.other.plan.own_islands

    @property
    def party(self) -> str:
        """Return the name of the other party in findings: the plan and the subject."""
        return f"{self.other.label}: {self.interface.subject}"


MOST_PARTIES = 20  # interfaces of other plans that one finding names as its other party; common practice, no source


def parties(users: Sequence[Elsewhere]) -> list[str]:
    """Return the names of the other party in a finding: each interface of another plan, at most `MOST_PARTIES`."""
    return [one.party for one in users[:MOST_PARTIES]]


@dataclass(frozen=True, eq=False, repr=False)
class OtherPlans:
    """All other plans of the call; finds interfaces by address, MAC, host name and switch port."""

    plans: tuple[OtherPlan, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.plans)

    @cached_property
    def used(self) -> tuple[tuple[str, Range], ...]:
        """Return the island and the range of everything that the other plans use."""
        return tuple(chain.from_iterable(other.used() for other in self.plans))

    def at(self, island: str, address: Address) -> list[Elsewhere]:
        """Return the interfaces of other plans that have an address in an island of this name."""
        if (island, address) not in self._known:
            self._known[island, address] = [
                Elsewhere(other, placed.interface)
                for other, there in self.islands(island)
                for placed in there.placed_at.get(address, ())
            ]
        return self._known[island, address]

    @cached_property
    def _known(self) -> dict[tuple[str, Address], list[Elsewhere]]:
        """What `at` has returned; any number of interfaces of this plan may ask for one address."""
        return {}

    def islands(self, name: str) -> Iterator[tuple[OtherPlan, Island]]:
        """Yield the islands of this name in other plans, except islands of a machine."""
        for other in self.plans:
            if name in other.islands and name not in other.plan.own_islands:
                yield other, other.islands[name]

    def with_mac(self, mac: Mac) -> list[Elsewhere]:
        """Return the interfaces of other plans with a MAC."""
        return self._macs.get(mac, [])

    def with_name(self, island: str, name: str) -> list[Elsewhere]:
        """Return the interfaces of other plans with a host name (in comparable form) in an island of this name."""
        return self._names.get((island, name), [])

    def with_switch_port(self, port: str) -> list[Elsewhere]:
        """Return the interfaces of other plans at a switch port (in comparable form), except those behind a device."""
        return self._switch_ports.get(port, [])

    def subnets(self) -> Iterator[tuple[OtherPlan, Subnet]]:
        """Yield the subnets of all other plans, except those in an island of a machine."""
        for other in self.plans:
            own = other.plan.own_islands
            yield from ((other, subnet) for subnet in other.plan.subnets if subnet.island not in own)

    def _interfaces(self) -> Iterator[Elsewhere]:
        for other in self.plans:
            yield from (Elsewhere(other, interface) for interface in other.plan.interfaces)

    @cached_property
    def _macs(self) -> dict[Mac, list[Elsewhere]]:
        found: dict[Mac, list[Elsewhere]] = {}
        for one in self._interfaces():
            if one.interface.mac is not None and one.interface.mac.value is not None:
                found.setdefault(one.interface.mac.value, []).append(one)
        return found

    @cached_property
    def _names(self) -> dict[tuple[str, str], list[Elsewhere]]:
        found: dict[tuple[str, str], list[Elsewhere]] = {}
        for one in self._interfaces():
            name = full_name(one.interface.host_name.text, one.other.plan.domain) if one.interface.host_name else ""
            if name and not one.own_island:
                found.setdefault((one.other.plan.island_of(one.interface), name), []).append(one)
        return found

    @cached_property
    def _switch_ports(self) -> dict[str, list[Elsewhere]]:
        found: dict[str, list[Elsewhere]] = {}
        for one in self._interfaces():
            port = one.interface.switch_port.text if one.interface.switch_port else ""
            if port.strip() and not one.interface.behind and not one.own_island:
                found.setdefault(switch_port_key(port), []).append(one)
        return found


def switch_port_key(text: str) -> str:
    """Return the form in which switch ports are compared: lower case, one blank between words."""
    return " ".join(text.casefold().split())


def others_of(
    plans: Sequence[tuple[str, Plan]], index: int, proposed: Iterable[tuple[str, Address]] = ()
) -> OtherPlans:
    """Return the plans that the plan at `index` is checked against; `plans` are given with their labels.

    Earlier plans keep shared addresses. `proposed` are the addresses that this call has proposed for earlier plans.
    """
    _, own = plans[index]
    given, others = tuple(proposed), []
    for at, (label, plan) in enumerate(plans):
        if at != index and not is_same(own, plan) and not are_revisions(own, plan):
            others.append(OtherPlan(label=label, plan=plan, keeps=at < index, proposed=given))
            given = ()
    return OtherPlans(tuple(others))


def is_same(one: Plan, two: Plan) -> bool:
    """Return whether two plans were read from the same file."""
    return _file(one) == _file(two)


def _file(plan: Plan) -> Path:
    return Path(plan.folder, plan.position.file).resolve()


def are_revisions(one: Plan, two: Plan) -> bool:
    """Return whether two plans are revisions of one plan: same site, other revision, mostly the same interfaces."""
    if one.name != two.name or one.revision == two.revision:
        return False
    first, second = set(one.interface_named), set(two.interface_named)
    return 2 * len(first & second) >= max(1, min(len(first), len(second)))
