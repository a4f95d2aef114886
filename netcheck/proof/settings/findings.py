"""The mask and the gateway found by the behaviour of a device, and their text compared with the plan."""

from __future__ import annotations

from dataclasses import dataclass

from netcheck.addr import quad


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
    """Say whether something was found that differs from the plan."""
    wrong_mask = found.length is not None and found.length != length
    return wrong_mask or ((found.gateway is not None or found.none_set) and found.gateway != gateway)
