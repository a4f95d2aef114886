"""The settings of a device: what is asked about them, one echo request with its reaction, and what was found."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from enum import Enum, auto

from netcheck.addr import quad

KEPT = 256  # most addresses kept of those that a device asked for, so that a flood cannot fill memory


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingsQuestion:
    """The device, and what is known of it.

    `planned` is the prefix length to begin with; `station` is an address of this computer to which it answered echo, so
    that this is on-link for it; `ours` are all addresses asked from; `peers` are those that it may ask for by itself;
    `probed` and `answered` count earlier probes, by which a silence is judged; `overhears` says that echo replies to
    other MACs are received too."""

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
    """The reaction of a device to an echo request from a source."""

    INSIDE = auto()  # asks for the source by ARP
    GATEWAY = auto()  # asks for another address at once, as for a gateway
    AWAY = auto()  # replies to another MAC, without asking
    REFLEX = auto()  # replies to this station, without asking
    NOTHING = auto()  # no reaction, or an ARP request too late to be caused by this


@dataclass(slots=True)
class SourceTrial:
    """One echo request and its reaction. Only an ARP request within `prompt` seconds is caused by it: a controller may
    ask for its peers at any time, and goes on asking for a gateway that does not answer."""

    source: int
    sent: float
    prompt: float
    inside: float | None = None  # when it asked for the source
    asked: set[int] = field(default_factory=set)  # other addresses that it asked for at once
    late: set[int] = field(default_factory=set)  # other addresses that it asked for later
    away: int | None = None
    reflex: bool = False

    def note(self, target: int, at: float) -> None:
        """Note an ARP request of the device that nothing else explains."""
        kept = self.asked if at - self.sent <= self.prompt else self.late
        if len(kept) < KEPT:
            kept.add(target)

    @property
    def sign(self) -> Sign:
        """The strongest sign: a device asks by ARP only for an on-link source."""
        if self.inside is not None:
            return Sign.INSIDE
        if self.reflex:
            return Sign.REFLEX
        return Sign.AWAY if self.away is not None else Sign.GATEWAY if self.asked else Sign.NOTHING


class CannotTell(Exception):
    """The mask cannot be told; the text completes the sentence "cannot tell: ..."."""


@dataclass(frozen=True, slots=True)
class SettingsFound:
    """What was found. If `length` is None, `mask_why` says why it cannot be told. If `gateway` is None, none is set if
    `none_set`; else `gateway_why` says why it cannot be told."""

    length: int | None = None
    gateway: int | None = None
    none_set: bool = False
    mask_why: str = ""
    gateway_why: str = ""


def to_evidence(found: SettingsFound, length: int, gateway: int | None) -> tuple[tuple[str, str], ...]:
    """Return pairs for a proof: what was found, compared with the plan."""
    return (("mask", _mask_words(found, length)), ("gateway", _gateway_words(found, gateway)))


def to_words(found: SettingsFound, length: int, gateway: int | None) -> str:
    """Return the same as a sentence."""
    pairs = to_evidence(found, length, gateway)
    return "; ".join(f"{name}: {said}" if said.startswith("cannot tell") else said for name, said in pairs)


def _mask_words(found: SettingsFound, planned: int) -> str:
    if found.length is None:
        return f"cannot tell: {found.mask_why}"
    return "mask as planned" if found.length == planned else f"mask is /{found.length}, planned /{planned}"


def _gateway_words(found: SettingsFound, planned: int | None) -> str:
    if found.gateway is None and not found.none_set:
        return f"cannot tell: {found.gateway_why}"
    if found.gateway is None:
        return "no gateway set" + (f", planned {quad(planned)}" if planned is not None else "")
    if found.gateway == planned:
        return f"gateway is {quad(planned)}, as planned"
    return f"gateway is {quad(found.gateway)}, " + ("none planned" if planned is None else f"planned {quad(planned)}")


def differs(found: SettingsFound, length: int, gateway: int | None) -> bool:
    """Return whether something was found that differs from the plan."""
    wrong_mask = found.length is not None and found.length != length
    return wrong_mask or ((found.gateway is not None or found.none_set) and found.gateway != gateway)


def wrong_of(evidence: Iterable[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    """Return what in the evidence of a proof differs from the plan: what was found, and what to do."""
    return tuple((text, do) for name, text in evidence if (do := _correction(name, text)))


def _correction(name: str, text: str) -> str:
    """Return what to type into the device where `_mask_words` or `_gateway_words` wrote of a difference."""
    if name == "mask" and (mask := re.fullmatch(r"mask is /[0-9]{1,2}, planned /([0-9]{1,2})", text)):
        return f"type the mask {quad(0xFFFFFFFF << 32 - min(int(mask.group(1)), 32) & 0xFFFFFFFF)}"
    if name == "gateway" and (
        gateway := re.fullmatch(r"(?:no gateway set|gateway is [0-9.]+), planned ([0-9.]+)", text)
    ):
        return f"type the gateway {gateway.group(1)}"
    return "remove the gateway" if name == "gateway" and re.fullmatch(r"gateway is [0-9.]+, none planned", text) else ""
