"""One question to a device about its mask and gateway, and what the device does with it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import Enum, auto

KEPT = 256  # addresses that a device is remembered to have asked for: enough, and a flood cannot grow it


@dataclass(frozen=True, slots=True)
class SettingsQuestion:
    """Whom to ask, and what is known of it.

    `planned` is the prefix length to begin with; `station` an address of ours that it answered echo to, which therefore
    is on-link for it; `ours` all addresses asked from; `peers` those that it may ask for by itself without any gateway;
    `probed` and `answered` how many probes it was sent and answered before, by which silence is weighed; `overhears`
    says that echo answers to other MACs are heard too."""

    address: int
    mac: int
    station_mac: int
    planned: int
    free: Callable[[int], bool]
    station: int | None = None
    ours: frozenset[int] = frozenset()
    peers: frozenset[int] = frozenset()
    probed: int = 0
    answered: int = 0
    overhears: bool = False


class Sign(Enum):
    """What a device does with an echo request from a source."""

    INSIDE = auto()  # asks for the source
    GATEWAY = auto()  # asks for another address at once
    AWAY = auto()  # answers to another MAC, without asking
    REFLEX = auto()  # answers to us, without asking
    NOTHING = auto()  # or asks for another address too late to be sure that it is for this


@dataclass(slots=True)
class SourceTrial:
    """One echo request and what came of it. Only what it asks for within `prompt` seconds is asked for because of it:
    a controller may ask for its peers at any time, and goes on asking for a gateway that does not answer."""

    source: int
    sent: float
    prompt: float
    inside: float | None = None  # when it asked for the source
    asked: set[int] = field(default_factory=set)  # what else it asked for at once
    late: set[int] = field(default_factory=set)  # and later
    away: int | None = None
    reflex: bool = False

    def note(self, target: int, at: float) -> None:
        """The device asks for an address that nothing else explains."""
        kept = self.asked if at - self.sent <= self.prompt else self.late
        if len(kept) < KEPT:
            kept.add(target)

    @property
    def sign(self) -> Sign:
        """The strongest sign: only an on-link source is asked for by name."""
        if self.inside is not None:
            return Sign.INSIDE
        if self.reflex:
            return Sign.REFLEX
        return Sign.AWAY if self.away is not None else Sign.GATEWAY if self.asked else Sign.NOTHING


class CannotTell(Exception):
    """The mask cannot be told; the text completes the sentence "cannot tell: ..."."""
