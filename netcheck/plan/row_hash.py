"""Hashes each interface's row, from which a record knows whether a proof still applies to the plan."""

from __future__ import annotations

import hashlib
from typing import Any

from netcheck.plan.model import Cell, Interface, Plan

DIGITS = 16  # hexadecimal digits of SHA-256; enough against chance, and the record has the plan's full SHA-256 too


def row_hashes(plan: Plan) -> dict[str, str]:
    """Return the hash of every interface's row by its subject (`device/interface`).

    A row consists of the columns of `interfaces.csv` and `behind`. Values are hashed, not their notation: the same MAC
    with colons has the same hash. `granted` is left out, because it states the site's decision, not a setting of the
    device.
    """
    return {interface.subject: _hash(interface) for interface in plan.interfaces}


def _hash(interface: Interface) -> str:
    cells = (
        interface.address,
        interface.mask,
        interface.gateway,
        interface.mac,
        interface.host_name,
        interface.switch_port,
    )
    texts = (
        *(interface.device, interface.kind, interface.location, interface.name, interface.slot, interface.subnet),
        *(_text(cell) for cell in cells),
        interface.behind,
        *interface.ports,
        *_second(interface),
    )
    return hashlib.sha256("\0".join(texts).encode("utf-8", "surrogatepass")).hexdigest()[:DIGITS]


def _second(interface: Interface) -> tuple[str, ...]:
    """Return the values of the second address of a dual-stack interface; other interfaces have none, so that their hash
    stays as before.
    """
    cells = (interface.address6, interface.mask6, interface.gateway6)
    texts = (*(_text(cell) for cell in cells), interface.subnet6)
    return texts if any(texts) else ()


def _text(cell: Cell[Any] | None) -> str:
    if cell is None:
        return ""
    return cell.text if cell.value is None else str(cell.value)
