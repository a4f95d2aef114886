"""A hash of each interface's row, by which a record knows whether a proof still belongs to the plan."""

from __future__ import annotations

import hashlib
from typing import Any

from netcheck.plan.model import Cell, Interface, Plan

DIGITS = 16  # hexadecimal, of SHA-256: chance changes only, an altered plan has its own SHA-256 in the record


def row_hashes(plan: Plan) -> dict[str, str]:
    """Return the hash of every interface's row by its subject (`device/interface`).

    A row is what the columns of `interfaces.csv` hold, and `behind`. Values count, not the way they are written: the
    same MAC with colons is the same row. `granted` does not count: it is the site's word, not the device's."""
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
    """What a dual-stack interface has besides; nothing for any other, whose hash stays what it was without these."""
    cells = (interface.address6, interface.mask6, interface.gateway6)
    texts = (*(_text(cell) for cell in cells), interface.subnet6)
    return texts if any(texts) else ()


def _text(cell: Cell[Any] | None) -> str:
    if cell is None:
        return ""
    return cell.text if cell.value is None else str(cell.value)
