"""Proposes free addresses that fit together: deterministic, each with the reason why it was chosen.

Free is what a host may have and nobody does: not planned, no site host, not pool, reserved, gateway, router or station.
Of what is free, preferred in this order: at least `keep-clear` from any site host; in one run with the device's other
interfaces, then with its kind; the last octet that the device has in other subnets; the middle of the widest gap.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush
from itertools import chain

from netcheck.addr import Address, Prefix, Range
from netcheck.plan.model import Interface, Plan, Subnet
from netcheck.space.intervals import range_of
from netcheck.space.occupancy import Island, Placed
from netcheck.space.vacant import Vacant

BLOCKS_TRIED = 256  # last-octet blocks looked at in a subnet larger than 256 addresses

LOOKED_AT = 64  # interfaces of one device whose last octets are tried


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A free address for one interface, and why this one."""

    address: Address
    why: str


def suggest(
    plan: Plan, islands: Mapping[str, Island], wanted: Collection[str], may_be_near: Collection[str] = ()
) -> dict[str, Suggestion]:
    """Propose an address for each wanted subject that can be placed; no two get the same one.

    Where nothing keeps clear of the site hosts, a subject of `may_be_near` gets a nearer address.
    """
    if not wanted:
        return {}
    moving = frozenset(wanted)
    movers = [interface for subject, interface in plan.interface_named.items() if subject in moving]
    proposer = _Proposer(plan, islands, movers)
    found = proposer.fill(movers, plan.keep_clear)
    if plan.keep_clear > 1:
        near = frozenset(may_be_near) - found.keys()
        found |= proposer.fill([interface for interface in movers if interface.subject in near], 0)
    return found


class _Run:
    """The free neighbours of addresses that belong together: upward from the lowest first, then downward."""

    def __init__(self, free: Vacant, values: list[int]) -> None:
        self._free = free
        self._all = [(False, value + 1, value + 1) for value in values] + [_below(value) for value in values]
        heapify(self._all)
        self._by_octet: dict[int, list[tuple[bool, int, int]]] = {}  # made when a last octet is first asked for

    def add(self, value: int) -> None:
        """Make the neighbours of an address candidates."""
        for entry in ((False, value + 1, value + 1), _below(value)):
            heappush(self._all, entry)
            if self._by_octet:
                heappush(self._by_octet.setdefault(entry[2] & 255, []), entry)

    def best(self, octet: int | None) -> int | None:
        """The first candidate still free, of those with this last octet or of all."""
        heap = self._all if octet is None else self._of(octet)
        while heap and not self._free.holds(heap[0][2]):
            heappop(heap)
        return heap[0][2] if heap else None

    def _of(self, octet: int) -> list[tuple[bool, int, int]]:
        if not self._by_octet:
            for entry in sorted(self._all):  # in order, so that each list is a heap
                self._by_octet.setdefault(entry[2] & 255, []).append(entry)
        return self._by_octet.get(octet, [])


def _below(value: int) -> tuple[bool, int, int]:
    return True, 1 - value, value - 1


class _Room:
    """What is free in one subnet, and which runs begin there."""

    def __init__(self, prefix: Prefix, free: Vacant, settled: Sequence[Placed]) -> None:
        """`settled` are those that have an address here; what is settled later is added to it, too."""
        self.prefix = prefix
        self.free = free
        self._settled = settled
        self._runs: dict[tuple[str, str], _Run] = {}  # each made when it is first asked for

    def settle(self, interface: Interface, value: int) -> None:
        """Note that an interface has this address."""
        self.free.take(value)
        for key in _run_keys(interface):
            if key in self._runs:
                self._runs[key].add(value)

    def _run(self, key: tuple[str, str]) -> _Run:
        if key not in self._runs:
            of, name = key
            same = [one.address for one in self._settled if getattr(one.interface, of) == name]
            whole = range_of(self.prefix)
            inside = [value for family, value in same if family == whole.family and whole.low <= value <= whole.high]
            self._runs[key] = _Run(self.free, inside)
        return self._runs[key]

    def choose(self, interface: Interface, octets: list[tuple[int, str]]) -> tuple[int, str] | None:
        """The best free address and the reason, or None where nothing is free."""
        for of, name in _run_keys(interface):
            run = self._run((of, name))
            for octet in (*(octet for octet, _ in octets), None):
                value = run.best(octet)
                if value is not None:
                    return (
                        value,
                        f"in one run with {'the other interfaces' if of == 'device' else 'others'} of {of} {name}",
                    )
        return self._by_octet(octets) or self._middle()

    def _by_octet(self, octets: list[tuple[int, str]]) -> tuple[int, str] | None:
        first = self.prefix.value >> 8
        for octet, subject in octets:
            for block in range(first, first + max(1, min(BLOCKS_TRIED, self.prefix.size >> 8))):
                if self.free.holds(block << 8 | octet):
                    return block << 8 | octet, f"the same last octet as {subject}"
        return None

    def _middle(self) -> tuple[int, str] | None:
        gap = self.free.widest()
        if gap is None:
            return None
        return sum(gap) // 2, f"the middle of the widest free gap, {Range(self.prefix.family, *gap)}"


class _Proposer:
    """Keeps what was proposed so far, so that the next proposal fits it."""

    def __init__(self, plan: Plan, islands: Mapping[str, Island], movers: list[Interface]) -> None:
        self._plan = plan
        self._islands = islands
        self._settled: dict[str, list[Placed]] = defaultdict(list)  # by subnet
        self._of_device: dict[str, list[Placed]] = defaultdict(list)
        self._given: set[tuple[str, Address]] = set()
        moving, devices = {one.subject for one in movers}, {one.device for one in movers}
        for placed in chain.from_iterable(island.placed for island in islands.values()):
            if placed.interface.device not in devices:
                self._settled[placed.subnet.name].append(placed)
            elif placed.interface.subject not in moving:
                self._settle(placed)

    def fill(self, movers: list[Interface], keep_clear: int) -> dict[str, Suggestion]:
        """Place what can be placed at least `keep_clear` from every site host."""
        rooms: dict[str, _Room | None] = {}
        found: dict[str, Suggestion] = {}
        for interface in movers:
            subnet = self._plan.subnet_of(interface)
            if subnet.name not in rooms:
                rooms[subnet.name] = self._room(subnet, keep_clear)
            choice = self._choose(interface, subnet, rooms[subnet.name])
            if choice:
                self._settle(choice[0])
                found[interface.subject] = Suggestion(choice[0].address, choice[1] + self._nearness(keep_clear))
        return found

    def _choose(self, interface: Interface, subnet: Subnet, room: _Room | None) -> tuple[Placed, str] | None:
        octets = self._octets(interface)
        while room and (choice := room.choose(interface, octets)):
            value, why = choice
            address = Address(room.prefix.family, value)
            if (subnet.island, address) not in self._given:
                self._given.add((subnet.island, address))
                room.settle(interface, value)
                return Placed(interface, subnet, address), why
            room.free.take(value)  # proposed for a subnet that overlaps this one
        return None

    def _nearness(self, keep_clear: int) -> str:
        wanted = self._plan.keep_clear
        return "" if keep_clear == wanted else f"; nearer than {wanted} to a site host, since nothing farther is free"

    def _settle(self, placed: Placed) -> None:
        self._settled[placed.subnet.name].append(placed)
        self._of_device[placed.interface.device].append(placed)

    def _room(self, subnet: Subnet, keep_clear: int) -> _Room | None:
        prefix = subnet.prefix.value
        if prefix is None:
            return None
        free = Vacant(prefix, self._islands[subnet.island], keep_clear)
        for placed in self._settled[subnet.name] if keep_clear != self._plan.keep_clear else ():
            free.take(placed.address.value)  # what was proposed before
        return _Room(prefix, free, self._settled[subnet.name])

    def _octets(self, interface: Interface) -> list[tuple[int, str]]:
        prefix = self._plan.subnet_of(interface).prefix.value
        return [
            (placed.address.value & 255, placed.interface.subject)
            for placed in self._of_device[interface.device][:LOOKED_AT]
            if placed.subnet.name != interface.subnet and prefix and placed.address.family == prefix.family
        ]


def _run_keys(interface: Interface) -> list[tuple[str, str]]:
    keys = [("device", interface.device), ("kind", interface.kind)]
    return [(of, name) for of, name in keys if name]
