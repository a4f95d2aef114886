"""The conversations of a plan, walked both ways: within an island, and between islands through translations.

From outside an island an inside address is reached by its outside address, for which its translating router answers.
From inside, packets go to that router as to any gateway, and go on from it with the outside address as their source:
so without a translation of its own no inside address is heard outside (RFC 3022 section 2.1, from memory).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from netcheck.addr import Address
from netcheck.plan.model import Interface, Plan, Subnet, Translation
from netcheck.rules.reachability.routers import Nets, Node
from netcheck.rules.reachability.trace import Goal, Outcome, Step, Talk, Walk, forward, lost, undecided, value_of, walk
from netcheck.space.addressing import second_face


@dataclass(frozen=True, slots=True)
class End:
    """One end of a conversation: the face by which it talks, its subnet and address."""

    interface: Interface
    subnet: Subnet
    address: Address


class Walker:
    """Walks the conversations of one plan."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._nets = Nets(plan)
        self._by_inside: dict[tuple[str, Address], list[Translation]] = {}
        for one in plan.translations:
            if one.inside.value is not None and one.outside.value is not None:
                self._by_inside.setdefault((one.island, one.inside.value), []).append(one)

    def talk(self, source: Interface, target: Interface) -> tuple[Walk, Walk]:
        """There and back."""
        one, two = self._ends(source, target)
        return self._way(one, two), self._way(two, one)

    def _ends(self, source: Interface, target: Interface) -> tuple[End | str, End | str]:
        """Both by the family of their `address`; by the one family that they share where these differ."""
        every = [(first, second) for first in self._faces(source) for second in self._faces(target)]
        shared = (pair for pair in every if pair[0].address.family == pair[1].address.family)
        best = next(shared, every[0] if every else None)
        if best is not None:
            return best
        return self._first(source), self._first(target)

    def _first(self, interface: Interface) -> End | str:
        return next(iter(self._faces(interface)), interface.subject)

    def _faces(self, interface: Interface) -> list[End]:
        faces = [(interface, self._plan.subnet_of(interface))]
        if interface.address6 is not None:
            faces.append(second_face(self._plan, self._nets.homes, interface))
        return [End(face, subnet, face.address.value) for face, subnet in faces if face.address and face.address.value]

    def _way(self, source: End | str, target: End | str) -> Walk:
        for end in (source, target):
            if isinstance(end, str):
                return undecided(f"{end} has no address that can be read")
        if isinstance(source, str) or isinstance(target, str):
            return undecided("no address can be read")
        unread = next((end.subnet for end in (source, target) if end.subnet.prefix.value is None), None)
        if unread is not None:
            return undecided(f"the prefix of subnet {unread.name or 'of its IPv6 address'} cannot be read")
        here, there = source.subnet.island, target.subnet.island
        if here == there:
            return walk(self._nets.of(here), source.interface, source.subnet, _goal(target))
        return self._across(source, target)

    def _across(self, source: End, target: End) -> Walk:
        """Between islands: in by the target's translation, out by the source's, or both one after the other."""
        here, there = source.subnet.island, target.subnet.island
        into = {self._plan.outer_island(one): one for one in reversed(self._translations(target))}
        out = {self._plan.outer_island(one): one for one in reversed(self._translations(source))}
        if here in into:
            return self._joined(self._leg(source, here, into[here], target), target)
        middle = next((island for island in out if island == there or island in into), None)
        if middle is None:
            who = f"{target.interface.subject} an address on island {here}"
            if there == "site" and here != "site":
                who = f"{source.interface.subject} an address on island {there}"
            return lost(f"no translation gives {who}", f"add a translation that gives {who}")
        final = target.address if middle == there else value_of(into[middle].outside)
        first = self._out(source, out[middle], final or target.address, target)
        if first.outcome is not Outcome.DELIVERED or middle == there:
            return self._joined(first, target)
        goal = self._outside(middle, into[middle], target)
        again = _at(self._from_router(first, middle, goal), goal)
        return self._joined(again, target)

    def _translations(self, end: End) -> list[Translation]:
        return self._by_inside.get((end.subnet.island, end.address), [])

    def _leg(self, source: End, island: str, by: Translation, target: End) -> Walk:
        """To an outside address, from a host of the island that it belongs to."""
        missing = self._missing(island, by)
        goal = self._outside(island, by, target)
        return missing or _at(walk(self._nets.of(island), source.interface, source.subnet, goal), goal)

    def _out(self, source: End, by: Translation, final: Address, target: End) -> Walk:
        """To the router that translates a source, on the way to an address outside."""
        island = source.subnet.island
        goal = Goal(final, target.interface.subject, frozenset(), by.at)
        return self._missing(island, by) or walk(self._nets.of(island), source.interface, source.subnet, goal)

    def _missing(self, island: str, by: Translation) -> Walk | None:
        if self._nets.of(island).nodes.get(by.at) is None:
            return undecided(f"the plan does not describe the translating router {by.at} on island {island}")
        return None

    def _outside(self, island: str, by: Translation, target: End) -> Goal:
        """An outside address: answered for by its router on every segment that it has an interface on."""
        node = self._nets.of(island).nodes.get(by.at)
        segments = frozenset(link.segment for link in node.links) if node else frozenset()
        address = value_of(by.outside) or Address(4, 0)
        return Goal(address, f"{target.interface.subject} as translated by {by.at}", segments, by.at)

    def _joined(self, first: Walk, target: End) -> Walk:
        """A leg that has come to the last translating router, and the leg from there."""
        if first.outcome is not Outcome.DELIVERED:
            return first
        return self._from_router(first, target.subnet.island, _goal(target))

    def _from_router(self, first: Walk, island: str, goal: Goal) -> Walk:
        """Go on from the router at which a leg ended, in another island."""
        node: Node | None = self._nets.of(island).nodes.get(first.node.name) if first.node else None
        if node is None:
            return undecided(f"the plan does not describe its way on into island {island}", first.through)
        onward = forward(self._nets.of(island), Step(node), goal)
        return replace(onward, through=(*first.through, *onward.through))


def _at(found: Walk, goal: Goal) -> Walk:
    """A way that came to an outside address has it as a hop."""
    delivered = found.outcome is Outcome.DELIVERED
    return replace(found, through=(*found.through, goal.address)) if delivered else found


def _goal(end: End) -> Goal:
    prefix = end.subnet.prefix.value
    strayed = prefix is not None and not prefix.holds(end.address)
    return Goal(end.address, end.interface.subject, frozenset({end.subnet.name}), strayed=strayed)


def talks_of(plan: Plan) -> tuple[Talk, ...]:
    """Every conversation of a plan, walked both ways."""
    walker = Walker(plan) if plan.conversations else None
    return tuple(_talks(plan, walker)) if walker else ()


def _talks(plan: Plan, walker: Walker) -> Iterable[Talk]:
    for conversation in plan.conversations:
        source, target = plan.interface_named[conversation.source], plan.interface_named[conversation.target]
        yield Talk(conversation, *walker.talk(source, target))
