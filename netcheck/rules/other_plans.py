"""The other plans of one call: what they use, so that plans are checked against each other and proposals keep clear.

Addresses and host names may repeat between islands, so they are compared within islands of one name. MACs and switch
ports are compared everywhere. A machine's own island (`site = false`) belongs to its plan alone; only its MACs are
compared. Two revisions of one plan are not compared.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import chain
from pathlib import Path

from netcheck.addr import Address, Mac, Range
from netcheck.plan.model import Interface, Plan, Subnet
from netcheck.rules.names import full_name
from netcheck.space.intervals import single
from netcheck.space.occupancy import Island, islands_of


@dataclass(frozen=True, kw_only=True)
class OtherPlan:
    """Another plan of the call. `label` names it in messages; if `keeps`, a shared address stays with it. `proposed`
    are addresses (with their island) that this call proposes for it.
    """

    label: str
    plan: Plan
    keeps: bool = False
    proposed: tuple[tuple[str, Address], ...] = ()

    @cached_property
    def islands(self) -> dict[str, Island]:
        """Return its islands, without site hosts."""
        return islands_of(self.plan, ())

    def used(self) -> Iterator[tuple[str, Range]]:
        """Yield, with their island, the ranges that it uses: planned, kept, of gateways and stations, and proposed."""
        for name, island in self.islands.items():
            if name not in self.plan.own_islands:
                yield from ((name, span) for span in island.claimed.ranges())
        yield from ((name, single(address)) for name, address in self.proposed)


@dataclass(frozen=True, slots=True)
class Elsewhere:
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


@dataclass(frozen=True)
class OtherPlans:
    """All other plans, searched by address, MAC, host name and switch port."""

    plans: tuple[OtherPlan, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.plans)

    @cached_property
    def used(self) -> tuple[tuple[str, Range], ...]:
        """Return, with their island, the ranges that the other plans use."""
        return tuple(chain.from_iterable(other.used() for other in self.plans))

    def at(self, island: str, address: Address) -> list[Elsewhere]:
        """Return the interfaces of other plans with an address, in an island of the same name."""
        return [
            Elsewhere(other, placed.interface)
            for other, there in self.islands(island)
            for placed in there.placed_at.get(address, ())
        ]

    def islands(self, name: str) -> Iterator[tuple[OtherPlan, Island]]:
        """Yield the islands of other plans that have a name and are not a machine's own."""
        for other in self.plans:
            if name in other.islands and name not in other.plan.own_islands:
                yield other, other.islands[name]

    def with_mac(self, mac: Mac) -> list[Elsewhere]:
        """Return the interfaces of other plans with a MAC."""
        return self._macs.get(mac, [])

    def with_name(self, island: str, name: str) -> list[Elsewhere]:
        """Return the interfaces of other plans with a host name (as compared), in an island of the same name."""
        return self._names.get((island, name), [])

    def with_switch_port(self, port: str) -> list[Elsewhere]:
        """Return the interfaces of other plans with a switch port (as compared) that are not behind another device."""
        return self._switch_ports.get(port, [])

    def subnets(self) -> Iterator[tuple[OtherPlan, Subnet]]:
        """Yield the subnets of all other plans that are not in a machine's own island."""
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
    """Return a switch port as it is compared: without case, blanks as one."""
    return " ".join(text.casefold().split())


def others_of(
    plans: Sequence[tuple[str, Plan]], index: int, proposed: Iterable[tuple[str, Address]] = ()
) -> OtherPlans:
    """Return the plans, given with their labels, that the one at `index` is checked against.

    Earlier plans keep shared addresses. `proposed` are the addresses that this call has proposed for them.
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
    """Return whether two plans are revisions of one: same site, other revision, and mostly the same interfaces."""
    if one.name != two.name or one.revision == two.revision:
        return False
    first, second = set(one.interface_named), set(two.interface_named)
    return 2 * len(first & second) >= max(1, min(len(first), len(second)))
