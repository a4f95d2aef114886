"""Proposes free addresses that fit together, each with its reason.

An address is free if it is assignable and unused: not planned, not reserved, not in a pool, and not the address of a
site host, gateway, router or station. A proposal prefers, in this order:

1. an address at least `keep-clear` away from every site host,
2. the range that the numbering scheme gives the interface, and no range that it gives others,
3. the run of addresses of the other interfaces of the device, then of its kind,
4. the last octet that the device has in other subnets,
5. the middle of the widest free gap; if several groups share the subnet, a start computed from the group's name.

A proposal depends on its device. It does not depend on the order of the plan. It stays the same when another proposal
is written into the plan, another finding is accepted, or a device of another group is added or removed. A group is a
kind, or a device without a kind. The interfaces of a group fill the free addresses upward from a fixed start, in
natural order of their names. The start depends on the addresses that the group has, on its last octets in other
subnets, or on the group's name and the gaps between site hosts, pools and other fixed ranges. It does not depend on
other groups or proposals. If the runs of two groups meet, the later group moves on.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from hashlib import blake2b
from itertools import chain
from operator import attrgetter
from typing import NamedTuple

from netcheck.addr import Address, Prefix, Range
from netcheck.plan.model import Interface, Plan, Scheme, Subnet
from netcheck.space.addressing import Schemes, spans_of
from netcheck.space.intervals import range_of
from netcheck.space.occupancy import Island, Placed
from netcheck.space.vacant import Vacant
from netcheck.text import natural_key

BLOCKS_TRIED = 256  # a last octet is tried in at most this many /24 blocks of a subnet
DEVICE_INTERFACES_TRIED = 64  # the last octets of at most this many interfaces of a device are tried
STARTS_TRIED = 4  # starts computed from the name of a group; the first one with `ROOM` on both sides is used
ROOM = 16  # free addresses on each side of a start that are enough
START_WINDOW = 1024  # in a larger subnet, all starts are in this many addresses around the middle of the widest gap
_DEVICE = attrgetter("device")


class Suggestion(NamedTuple):
    """A free address for one interface, and the reason for it."""

    address: Address
    why: str


class RunGroup(NamedTuple):
    """Interfaces of one subnet that get consecutive addresses: those of the kind or the device (`by`) with a name."""

    by: str
    name: str

    @classmethod
    def of(cls, interface: Interface) -> RunGroup:
        """Return the group of an interface: its kind, or its device if it has no kind."""
        return _of_kind(interface.kind) if interface.kind else cls("device", interface.device)

    @property
    def key(self) -> tuple[object, ...]:
        """Return the key by which groups are sorted."""
        return self.by, natural_key(self.name)

    def places(self, window: Range) -> Iterator[int]:
        """Yield addresses of a window that depend only on the group's name; those of all groups are spread evenly."""
        for attempt in range(STARTS_TRIED):
            digest = blake2b(f"{self.by} {self.name} {attempt}".encode(errors="surrogatepass"), digest_size=8).digest()
            yield window.low + int.from_bytes(digest) % window.size


@lru_cache(maxsize=1024)
def _of_kind(kind: str) -> RunGroup:
    """Return the group of a kind; cached, because many interfaces share few kinds."""
    return RunGroup("kind", kind)


def suggest(
    plan: Plan,
    islands: Mapping[str, Island],
    wanted: Collection[str],
    may_be_near: Collection[str] = (),
    also: Collection[str] = (),
) -> dict[str, Suggestion]:
    """Return a proposal for each wanted subject that can be placed; all addresses of an island are different.

    A subject of `may_be_near` gets an address nearer than keep-clear to a site host if no other is free. The subjects
    of `also` are placed as well but not returned: a proposal then stays the same when they are no longer wanted.
    """
    if not wanted:
        return {}
    returned, moving = frozenset(wanted), {*wanted, *also}
    movers = [interface for subject, interface in plan.interface_named.items() if subject in moving]
    movers.sort(key=_order)
    proposer = _Proposer(plan, islands, movers)
    found = proposer.fill(movers, plan.keep_clear)
    if plan.keep_clear > 1:
        near = frozenset(may_be_near) - found.keys()
        found |= proposer.fill([interface for interface in movers if interface.subject in near], 0)
    missing = returned - found.keys()
    left = [interface for interface in movers if interface.subject in missing]
    if left and (others := found.keys() - returned):  # wanted subjects precede those of `also`
        proposer.release(found[subject].address for subject in others)
        found |= proposer.fill(left, plan.keep_clear)
    return {one.subject: found[one.subject] for one in movers if one.subject in found and one.subject in returned}


def _order(interface: Interface) -> tuple[object, ...]:
    """Return the key by which interfaces are placed, independent of their order in the plan."""
    return RunGroup.of(interface).key, natural_key(interface.device), natural_key(interface.name)


def _grouped(interfaces: Iterable[Interface]) -> dict[RunGroup, list[Interface]]:
    """Return the interfaces of each group, in the order of the groups' keys."""
    groups: dict[RunGroup, list[Interface]] = {}
    kinds: dict[str, list[Interface]] = defaultdict(list)
    for interface in interfaces:
        kinds[interface.kind].append(interface)
    for several in kinds.values():
        if several[0].kind:
            groups[RunGroup.of(several[0])] = several
        else:
            for interface in several:
                groups.setdefault(RunGroup.of(interface), []).append(interface)
    return {group: groups[group] for group in sorted(groups, key=lambda one: one.key)}


class _Start(NamedTuple):
    """The address where the run of a group begins if the group has no addresses yet, and the reason."""

    value: int
    why: str


@dataclass(slots=True)
class _Run:
    """The run of a group in a subnet: the next address to try, and the addresses that the group has."""

    next: int
    held: set[int]
    start: str  # the reason for the first address

    def candidate(self) -> int:
        """Return the next address that the group does not have yet."""
        while self.next in self.held:
            self.next += 1
        return self.next


class _Room:
    """One subnet while its addresses are proposed."""

    def __init__(
        self,
        prefix: Prefix,
        island: Island,
        keep_clear: int,
        members: Iterable[Interface],
        several: frozenset[str],
        schemes: Sequence[Range],
    ) -> None:
        """Prepare a subnet.

        `members` are all interfaces of the subnet, `several` the devices with more than one interface, `schemes` the
        ranges of the subnet that numbering schemes give to certain interfaces.
        """
        self.prefix = prefix
        self.in_schemes = Vacant(prefix, island, keep_clear) if schemes else None
        self.free = Vacant(prefix, island, keep_clear, schemes)
        self.runs: dict[RunGroup, _Run] = {}
        self._groups = _grouped(members)
        self._several = several

    def take(self, value: int) -> None:
        """Mark an address as no longer free."""
        self.free.take(value)
        if self.in_schemes is not None:
            self.in_schemes.take(value)

    @cached_property
    def _widest(self) -> Range | None:
        """Return the widest free gap; None if nothing is free.

        Planned addresses do not narrow a gap. A proposal that is written into the plan therefore moves no start.
        """
        widest = self.free.without_plan.widest()
        return widest and Range(self.prefix.family, *widest)

    def _default_start(self, group: RunGroup) -> _Start:
        """Return the start of a group that has neither addresses here nor last octets in other subnets.

        A group alone in the subnet starts in the middle of the widest free gap. Otherwise it starts at a free address
        that depends on its name.
        """
        family, widest = self.prefix.family, self._widest
        if widest is None:
            return _Start(self.prefix.value, "free")
        middle = (widest.low + widest.high) // 2
        if len(self._groups) == 1:
            return _Start(middle, f"the middle of the widest free gap, {widest}")
        half = START_WINDOW // 2
        near = Range(family, max(widest.low, middle - half), min(widest.high, middle + half))
        window = range_of(self.prefix) if self.prefix.size <= START_WINDOW else near
        value, low, high = max(map(self.free.without_plan.nearest, group.places(window)), key=_room)
        return _Start(value, f"the start of {group.by} {group.name} in the free gap {Range(family, low, high)}")

    def start_run(self, group: RunGroup, held: set[int], octets: Callable[[Interface], list[tuple[int, str]]]) -> _Run:
        """Begin the run of a group that has the addresses `held`.

        The run begins at the lowest held address. If that address is within the run from the group's start, an earlier
        proposal has made it, and the run begins at the group's start.
        """
        members = self._groups[group]
        start = self._octet_start(members, octets) or self._default_start(group)
        lowest = min(held, default=start.value)
        own_place = not start.value <= lowest <= start.value + len(members)
        self.runs[group] = _Run(lowest if own_place else start.value, held, start.why)
        return self.runs[group]

    def _octet_start(
        self, members: list[Interface], octets: Callable[[Interface], list[tuple[int, str]]]
    ) -> _Start | None:
        """Return the start that gives a member the last octet that its device has in another subnet; None if none fits.

        The first member in the order of placement that has such an octet counts.
        """
        if self._several.isdisjoint(map(_DEVICE, members)) or not any(map(octets, members)):
            return None  # the usual case
        for rank, member in enumerate(sorted(members, key=_order)[:DEVICE_INTERFACES_TRIED]):
            for octet, subject in octets(member):
                value = self.with_octet(octet, self.free.usable)
                if value is not None:
                    return _Start(value - rank, f"the same last octet as {subject}")
        return None

    def with_octet(self, octet: int, accept: Callable[[int], bool]) -> int | None:
        """Return the first address with this last octet for which `accept` is true, or None."""
        first = self.prefix.value >> 8
        blocks = range(first, first + max(1, min(BLOCKS_TRIED, self.prefix.size >> 8)))
        return next((block << 8 | octet for block in blocks if accept(block << 8 | octet)), None)

    def nearest(self, value: int) -> int | None:
        """Return the first free address from a value upward, else the first one downward; None if nothing is free."""
        above = self.free.next(value)
        return above if above is not None else self.free.previous(value)


def _room(start: tuple[int, int, int]) -> int:
    """Return the number of free addresses on the narrower side of a start in its gap, at most `ROOM`."""
    value, low, high = start
    return min(value - low, high - value, ROOM)


class _Proposer:
    """Places interfaces one after the other; no address is given twice."""

    def __init__(self, plan: Plan, islands: Mapping[str, Island], movers: list[Interface]) -> None:
        self._plan = plan
        self._islands = islands
        self._schemes = Schemes(plan)
        self._of_device: dict[str, list[Placed]] = defaultdict(list)
        # The addresses of the interfaces that keep theirs, by subnet and kind; of those without a kind by device too.
        self._settled: dict[tuple[str, str, str], list[Address]] = defaultdict(list)
        self._members: dict[str, list[Interface]] = defaultdict(list)  # by subnet
        self._given: set[tuple[str, Address]] = set()
        counts = Counter(map(_DEVICE, plan.interfaces))
        self._several = frozenset(device for device, count in counts.items() if count > 1)
        moving, subnets = {(one.device, one.name) for one in movers}, {one.subnet for one in movers}
        for placed in chain.from_iterable(island.placed for island in islands.values()):
            device, subnet = placed.interface.device, placed.subnet.name
            several, here = device in self._several, subnet in subnets
            if (several or here) and (device, placed.interface.name) not in moving:
                if several:
                    self._of_device[device].append(placed)
                if here:
                    kind = placed.interface.kind
                    self._settled[subnet, kind, "" if kind else device].append(placed.address)
        for interface in plan.interfaces:
            if interface.subnet in subnets:
                self._members[interface.subnet].append(interface)

    def release(self, addresses: Iterable[Address]) -> None:
        """Make proposed addresses free again."""
        released = set(addresses)
        self._given = {(island, address) for island, address in self._given if address not in released}

    def fill(self, movers: list[Interface], keep_clear: int) -> dict[str, Suggestion]:
        """Return a proposal by subject for every interface that fits at least `keep_clear` from every site host."""
        rooms: dict[str, _Room | None] = {}
        found: dict[str, Suggestion] = {}
        for interface in movers:
            subnet = self._plan.subnet_of(interface)
            if subnet.name not in rooms:
                rooms[subnet.name] = self._room(subnet, keep_clear)
            room = rooms[subnet.name]
            choice = self._place(interface, subnet, room) if room else None
            if choice:
                found[interface.subject] = Suggestion(choice.address, choice.why + self._nearness(keep_clear))
        return found

    def _room(self, subnet: Subnet, keep_clear: int) -> _Room | None:
        prefix = subnet.prefix.value
        if prefix is None:
            return None
        island, members = self._islands[subnet.island], self._members[subnet.name]
        return _Room(prefix, island, keep_clear, members, self._several, self._schemes.all_in(subnet))

    def _place(self, interface: Interface, subnet: Subnet, room: _Room) -> Suggestion | None:
        """Take the best free address for an interface; None if none is free. Overlapping subnets share no address."""
        while (choice := self._choose(interface, subnet, room)) is not None:
            value, why = choice
            address = Address(room.prefix.family, value)
            room.take(value)
            if (subnet.island, address) not in self._given:
                self._given.add((subnet.island, address))
                self._of_device[interface.device].append(Placed(interface, subnet, address))
                if (run := room.runs.get(RunGroup.of(interface))) is not None:
                    run.held.add(value)
                return Suggestion(address, why)
        return None

    def _choose(self, interface: Interface, subnet: Subnet, room: _Room) -> tuple[int, str] | None:
        """Return the best free address and the reason, or None if nothing is free."""
        scheme = self._schemes.of(interface, subnet) if room.in_schemes is not None else None
        if scheme is not None and room.in_schemes is not None:
            return _in_scheme(scheme, subnet, room.in_schemes)
        group = RunGroup.of(interface)
        run = room.runs.get(group) or room.start_run(group, self._held(group, subnet.name, room.prefix), self._octets)
        if group.by == "kind" and (adjacent := self._next_to_own(interface, room, run)) is not None:
            return adjacent, f"next to the other interfaces of device {interface.device}"
        at = run.candidate()
        if room.free.holds(at):
            return at, f"it continues the addresses of {group.by} {group.name}" if run.held else run.start
        for octet, subject in self._octets(interface):
            free = room.with_octet(octet, room.free.holds)
            if free is not None:
                return free, f"the same last octet as {subject}"
        value = room.nearest(at)
        if value is None:
            return None
        near = f"others of {group.by} {group.name}" if run.held else run.start
        return value, f"the nearest free address to {near}"

    def _held(self, group: RunGroup, subnet: str, prefix: Prefix) -> set[int]:
        """Return the addresses in a subnet of the group's interfaces that keep their addresses."""
        kind, device = (group.name, "") if group.by == "kind" else ("", group.name)
        settled, first, last = self._settled.get((subnet, kind, device), ()), prefix.first, prefix.last
        return {address.value for address in settled if first <= address <= last}

    def _next_to_own(self, interface: Interface, room: _Room, run: _Run) -> int | None:
        """Return a free address adjacent to the device's addresses in the subnet; None if the kind's run is there."""
        own = {one.address.value for one in self._of_device[interface.device] if one.subnet.name == interface.subnet}
        own = {value for value in own if room.prefix.holds(Address(room.prefix.family, value))}
        if not own or abs(min(own) - run.candidate()) <= len(run.held):
            return None
        return next((value for value in (max(own) + 1, min(own) - 1) if room.free.holds(value)), None)

    def _octets(self, interface: Interface) -> list[tuple[int, str]]:
        """Return the last octets that the device has in other subnets, each with the interface that has it."""
        if interface.device not in self._several:
            return []  # the usual case
        prefix = self._plan.subnet_of(interface).prefix.value
        return [
            (placed.address.value & 255, placed.interface.subject)
            for placed in self._of_device[interface.device][:DEVICE_INTERFACES_TRIED]
            if placed.subnet.name != interface.subnet and prefix and placed.address.family == prefix.family
        ]

    def _nearness(self, keep_clear: int) -> str:
        wanted = self._plan.keep_clear
        return "" if keep_clear == wanted else f"; nearer than {wanted} to a site host, since nothing farther is free"


def _in_scheme(scheme: Scheme, subnet: Subnet, free: Vacant) -> tuple[int, str] | None:
    """Return the first free address of a scheme's ranges."""
    for span in spans_of(scheme, subnet):
        value = free.next(span.low)
        if value is not None and value <= span.high:
            what = " ".join(filter(None, (scheme.kind, scheme.location, scheme.name))) or "all devices"
            return value, f"the first free address of the scheme range {scheme.range.text} for {what}"
    return None
