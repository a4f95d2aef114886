"""Computes when each cable was in and each device alive on a bench, from the changes that they record.

A history is a list of spans (since, until) in seconds of the world's clock, in order and without overlap.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from netcheck.rig.devices import VirtualDevice
from netcheck.rig.network import START, Jack

Span = tuple[float, float]
Spans = list[Span]
EVER = float("inf")
ALWAYS: Spans = [(-EVER, EVER)]


# Arithmetic on spans


def union(*many: Iterable[Span]) -> Spans:
    """Return the times that are in any of the histories."""
    found: Spans = []
    for since, until in sorted(span for spans in many for span in spans):
        if until <= since:
            continue
        if found and since <= found[-1][1]:
            found[-1] = found[-1][0], max(found[-1][1], until)
        else:
            found.append((since, until))
    return found


def without(spans: Iterable[Span], holes: Sequence[Span]) -> Spans:
    """Return the times of the first history that are not in the second."""
    found = list(spans)
    for low, high in holes:
        found = [
            part
            for since, until in found
            for part in ((since, min(until, low)), (max(since, high), until))
            if part[0] < part[1]
        ]
    return found


def both(one: Iterable[Span], other: Sequence[Span]) -> Spans:
    """Return the times that are in both histories."""
    return without(one, without(ALWAYS, other))


def within(spans: Iterable[Span], since: float, until: float) -> Spans:
    """Return the part of a history between two times."""
    return [(max(low, since), min(high, until)) for low, high in spans if min(high, until) > max(low, since)]


def joined(spans: Iterable[Span], gap: float) -> Spans:
    """Return a history in which spans at most *gap* seconds apart are one."""
    found: Spans = []
    for since, until in spans:
        if found and since - found[-1][1] <= gap:
            found[-1] = found[-1][0], until
        else:
            found.append((since, until))
    return found


def longest(spans: Iterable[Span]) -> float:
    """Return the seconds of the longest span; 0 if there is none."""
    return max((until - since for since, until in spans), default=0.0)


def total(spans: Iterable[Span]) -> float:
    """Return the seconds of all spans together."""
    return sum(until - since for since, until in spans)


def _since_changes(changes: Sequence[tuple[float, bool]], now: bool) -> Spans:
    """Return when a Boolean value was True, from its changes (time, new value) and its value now."""
    spans: Spans = []
    since, value = -EVER, not changes[0][1] if changes else now
    for at, new in changes:
        if value and not new:
            spans.append((since, at))
        if new and not value:
            since = at
        value = new
    return [*spans, (since, EVER)] if value else spans


# Cables


def plugged(jack: Jack) -> Spans:
    """Return when the cable of a jack was in."""
    return _since_changes(jack.moves, jack.plugged)


def out(jack: Jack) -> Spans:
    """Return when the cable of a jack was out."""
    return without(ALWAYS, plugged(jack))


def linked(jack: Jack) -> Spans:
    """Return when the transceiver of a jack was up, whether or not its cable was in."""
    return _since_changes(jack.links, jack.linked)


def forwarding(jack: Jack) -> Spans:
    """Return when frames could pass between a jack and its segment by the direct path."""
    blocked = [(at, at + jack.forwards_after) for at, went_in in jack.moves if went_in]
    if jack.moves:
        blocked.append((-EVER, min(jack.blocked_at_first, jack.moves[0][0])))
    else:
        blocked.append((-EVER, jack.forwarding_from))
    open_now = both(without(plugged(jack), union(blocked)), linked(jack))
    above = jack.behind
    while above is not None:
        open_now = both(both(open_now, plugged(above)), linked(above))
        above = above.behind
    return open_now


def detours(jack: Jack) -> Spans:
    """Return when a second path could carry frames between a jack and its segment."""
    if not jack.detour:
        return []
    healing = [(at, at + jack.heals) for at, went_in in jack.moves if not went_in]
    found = without(ALWAYS, union(healing))
    for other in jack.detour:
        found = both(found, forwarding(other))
    return found


def reachable(jack: Jack) -> Spans:
    """Return when frames could pass between a jack and its segment by any path; loss does not matter."""
    return union(forwarding(jack), detours(jack))


# Devices


def lives(device: VirtualDevice) -> Spans:
    """Return when a device was on and had not given its address up."""
    return within(_since_changes(device.lives, not device.dead), -EVER, device.gave_up_at)


def alive(device: VirtualDevice, until: float) -> Spans:
    """Return when a device could answer a request, up to *until*; its path and loss do not matter."""
    there = without(lives(device), union(device.absences))
    faults = device.faults
    if faults.only_while_out is not None:
        there = both(there, out(faults.only_while_out))
    stays, leaves, since = faults.there
    if leaves > 0:
        period = stays + leaves
        turn = int((START - since) // period) - 1
        present: Spans = []
        while since + turn * period < until:
            present.append((since + turn * period, since + turn * period + stays))
            turn += 1
        there = both(there, present)
    return there
