"""The settings of a device: the question, one echo request with its reaction, and the result."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from enum import Enum, auto

from netcheck.addr import quad

KEPT = 256  # addresses kept of those that a device asked for: a flood cannot fill the memory


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingsQuestion:
    """The device, and what is known of it.

    - `planned`: the prefix length to try first.
    - `free`: returns whether an address may be used as a source.
    - `station`: an address of this computer to which the device answered echo; it is on-link for the device.
    - `ours`: all addresses that this computer sends from.
    - `peers`: addresses that the device may ask for by itself.
    - `probed`, `answered`: counts of earlier probes; they decide how many missing reactions are evidence.
    - `overhears`: the link also receives echo replies to other MACs.
    """

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
    GATEWAY = auto()  # asks for another address at once, as it would for a gateway
    AWAY = auto()  # replies to another MAC, without asking
    REFLEX = auto()  # replies to this station, without asking
    NOTHING = auto()  # no reaction, or an ARP request too late to be caused by the echo request


@dataclass(slots=True)
class SourceTrial:
    """One echo request and the reaction to it.

    Only an ARP request within `prompt` seconds counts as caused by it. A controller may ask for its peers at any time,
    and it goes on asking for a gateway that does not answer.
    """

    source: int
    sent: float
    prompt: float
    inside: float | None = None  # time of the ARP request for the source
    asked: set[int] = field(default_factory=set)  # other addresses that it asked for at once
    late: set[int] = field(default_factory=set)  # other addresses that it asked for later
    away: int | None = None  # the MAC of another host that it sent the reply to
    reflex: bool = False  # it sent the reply to this station without asking

    def note(self, target: int, at: float) -> None:
        """Record an ARP request of the device for another address that has no other cause."""
        kept = self.asked if at - self.sent <= self.prompt else self.late
        if len(kept) < KEPT:
            kept.add(target)

    @property
    def sign(self) -> Sign:
        """The strongest reaction. An ARP request for the source comes first: it shows that the source is on-link."""
        if self.inside is not None:
            return Sign.INSIDE
        if self.reflex:
            return Sign.REFLEX
        return Sign.AWAY if self.away is not None else Sign.GATEWAY if self.asked else Sign.NOTHING


class CannotTell(Exception):
    """Raised if the mask cannot be found; the text completes the sentence "cannot tell: ..."."""


@dataclass(frozen=True, slots=True)
class SettingsFound:
    """The result. If `length` is None, `mask_why` gives the reason.

    If `gateway` is None, either `none_set` says that the device has none, or `gateway_why` says why it is not known.
    """

    length: int | None = None
    gateway: int | None = None
    none_set: bool = False
    mask_why: str = ""
    gateway_why: str = ""


def to_evidence(found: SettingsFound, length: int, gateway: int | None) -> tuple[tuple[str, str], ...]:
    """Return evidence for a proof as (name, text): mask and gateway, compared with the plan."""
    return (("mask", _mask_words(found, length)), ("gateway", _gateway_words(found, gateway)))


def to_words(found: SettingsFound, length: int, gateway: int | None) -> str:
    """Return the evidence of `to_evidence` as a sentence."""
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
    """Return whether the mask or the gateway was found and differs from the plan."""
    wrong_mask = found.length is not None and found.length != length
    return wrong_mask or ((found.gateway is not None or found.none_set) and found.gateway != gateway)


def wrong_of(evidence: Iterable[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    """Return the settings in the evidence of a proof that differ from the plan, as (finding, what to do)."""
    return tuple((text, do) for name, text in evidence if (do := _correction(name, text)))


def _correction(name: str, text: str) -> str:
    """Return what to type into the device, if the text of `_mask_words` or `_gateway_words` is a difference."""
    if name == "mask" and (mask := re.fullmatch(r"mask is /[0-9]{1,2}, planned /([0-9]{1,2})", text)):
        return f"type the mask {quad(0xFFFFFFFF << 32 - min(int(mask.group(1)), 32) & 0xFFFFFFFF)}"
    if name == "gateway" and (
        gateway := re.fullmatch(r"(?:no gateway set|gateway is [0-9.]+), planned ([0-9.]+)", text)
    ):
        return f"type the gateway {gateway.group(1)}"
    return "remove the gateway" if name == "gateway" and re.fullmatch(r"gateway is [0-9.]+, none planned", text) else ""
