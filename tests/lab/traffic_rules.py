"""Checks the frames of a run, as an independent listener recorded them, against the allowed addresses and rates.

The times are those of the listener, and a busy computer sometimes delays a frame. Therefore limits for a second are
checked in windows that are slightly shorter than a second, and over the whole run.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from tests.lab.listener import Frame
from tests.lab.plant import BORROWED, OWN, STATION_MAC

SPARE = ("192.0.2.253", "192.0.2.252")  # control addresses: the highest usable addresses that no device has
GATEWAY = "192.0.2.254"
NOBODY = "0.0.0.0"
JITTER = 0.25  # seconds that a frame may be late on the wire
ANONYMOUS = 8  # the most ARP probes with sender 0 to one planned address
SILENT_FOR = 2.0  # seconds of silence of a planned device before such a probe may be sent to it


@dataclass(frozen=True)
class Limits:
    """The most frames a second: in total, broadcast, to one address, and broadcast to one address.

    The last limit is that of RFC 1122 section 2.3.2.1.
    """

    total: float = 500
    broadcast: float = 10  # ARP inspection on managed switches commonly allows 15 a second (common practice)
    each: float = 5
    broadcast_each: float = 1


def violations(frames: Sequence[Frame], planned: Mapping[str, str], limits: Limits = Limits()) -> list[str]:
    """Return a sentence for each frame or rate that the station must not send.

    *planned* has the plan's addresses, each with the MAC of its planned device.
    """
    ours = [frame for frame in frames if frame.source == STATION_MAC]
    asked = [frame for frame in ours if frame.what in ("arp request", "echo request")]
    return _wrong_addresses(ours, asked, planned) + _anonymous(frames, planned) + _too_fast(asked, limits)


def _wrong_addresses(ours: list[Frame], asked: list[Frame], planned: Iterable[str]) -> list[str]:
    may_be_asked = {*planned, *SPARE, GATEWAY, OWN, BORROWED}
    may_ask = {OWN, BORROWED, NOBODY}
    strange = [f"a frame that is no ARP and no echo: {frame.data.hex()}" for frame in ours if frame.what == "other"]
    strange += [f"{target} was asked" for target in {frame.target for frame in asked} - may_be_asked]
    return strange + [f"{sender} was the sender" for sender in {frame.sender for frame in ours} - may_ask]


def _anonymous(frames: Sequence[Frame], planned: Mapping[str, str]) -> list[str]:
    """Check the ARP probes with sender 0 to planned addresses: their number, and the silence of the device before."""
    counts: Counter[str] = Counter()
    answered: dict[str, float] = {}
    found = []
    for frame in sorted(frames, key=lambda frame: frame.at):
        if frame.sender in planned and frame.source == planned[frame.sender]:
            answered[frame.sender] = frame.at
        if frame.source == STATION_MAC and frame.sender == NOBODY and frame.target in planned:
            counts[frame.target] += 1
            silent = frame.at - answered.get(frame.target, float("-inf"))
            if silent < SILENT_FOR - JITTER:
                found.append(f"{frame.target} was asked with sender 0, {silent:.2f} s after it answered")
    too_many = [
        f"{address} was asked {number} times with sender 0" for address, number in counts.items() if number > ANONYMOUS
    ]
    return found + too_many


def _too_fast(asked: list[Frame], limits: Limits) -> list[str]:
    times: dict[str, list[float]] = defaultdict(list)
    most: dict[str, float] = {}
    for frame in asked:
        kinds = [("in all", limits.total), (f"to {frame.target}", limits.each)]
        if frame.broadcast:
            kinds += [("broadcast", limits.broadcast), (f"broadcast to {frame.target}", limits.broadcast_each)]
        for name, limit in kinds:
            times[name].append(frame.at)
            most[name] = limit
    return [said for name, moments in times.items() if (said := _above(name, sorted(moments), most[name]))]


def _above(name: str, moments: list[float], limit: float) -> str:
    burst = max(bisect_left(moments, at + 1 - JITTER) - index for index, at in enumerate(moments))
    lasted = moments[-1] - moments[0]
    if burst > max(1, limit):
        return f"{burst} frames {name} in less than a second; {limit:g} are allowed"
    if len(moments) - 1 > limit * (lasted + JITTER):
        return f"{len(moments)} frames {name} in {lasted:.1f} s; {limit:g} a second are allowed"
    return ""
