"""Writes proposed addresses as a table of text or as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import fill
from typing import Any

from tabulate import tabulate

from netcheck.rules.propose import Proposal, Proposals
from netcheck.text import safe

HEADERS = ("interface", "now", "proposed", "for", "why this one")
NARROWEST = 16  # columns of the last cell, at least; the first four get the width of their text, up to a limit
LIMITS = (24, 15, 15, 18)
NOTHING = "Every interface has an address, and no finding requires another address.\n"
WIDE = 110  # from this width the reason has its own column; otherwise it stands below the row


def to_text(found: Proposals, width: int | None) -> str:
    """Return a table of proposals, then the interfaces whose address cannot be read.

    The table is wrapped to *width*; in a narrow table the reason stands below each row. If *width* is None, each
    proposal is one line.
    """
    lines = [f"{safe(each.subject)} is left as it is: {safe(each.why)}" for each in found.unreadable]
    rows = "".join(f"{fill(line, width, break_on_hyphens=False) if width else line}\n" for line in lines)
    if found.proposals:
        return _table_of(found.proposals, width) + (f"\n{rows}" if rows else "")
    return rows or NOTHING


def _table_of(proposals: Sequence[Proposal], width: int | None) -> str:
    """Return the table of proposals; see `to_text` for *width*."""
    rows = [
        (
            safe(each.subject),
            safe(each.now) or "none",
            str(each.address or "none"),
            ", ".join(each.rules),
            safe(each.why),
        )
        for each in proposals
    ]
    if width is not None and width < WIDE:
        return _narrow(rows, width)
    if width:
        rows = [(*row[:3], row[3].replace(", ", ",\n"), row[4]) for row in rows]  # a rule's name is not broken
    table = _table(rows, HEADERS, _limits(rows, width) if width else None)
    return "\n".join(table) + "\n"


def _table(rows: Sequence[tuple[str, ...]], headers: Sequence[str], limits: list[int] | None = None) -> list[str]:
    table = tabulate(rows, headers, tablefmt="simple", disable_numparse=True, maxcolwidths=limits)
    return [line.rstrip() for line in table.splitlines()]


def _narrow(rows: Sequence[tuple[str, ...]], width: int) -> str:
    """Return interface, present and proposed address in columns; purpose and reason stand in lines below."""
    lines = _table([row[:3] for row in rows], HEADERS[:3])
    shown = lines[:2]
    for line, row in zip(lines[2:], rows, strict=True):
        shown += [line, fill(f"{row[3]}: {row[4]}", width, initial_indent="    ", subsequent_indent="    ")]
    return "\n".join(shown) + "\n"


def _limits(rows: Sequence[tuple[str, ...]], width: int) -> list[int]:
    needed = [max(len(row[column]) for row in (*rows, HEADERS)) for column in range(len(LIMITS))]
    first = [min(need, limit) for need, limit in zip(needed, LIMITS, strict=True)]
    return [*first, max(width - sum(first) - 2 * len(first), NARROWEST)]


def to_json(found: Proposals) -> dict[str, Any]:
    """Return one object: the proposals, and the interfaces whose address cannot be read as `unreadable`.

    `address` is null if no address could be proposed; `now` is null if the interface has no address yet.
    """
    proposals = found.proposals
    return {
        "suggestions": [
            {
                "subject": each.subject,
                "now": each.now or None,
                "address": str(each.address) if each.address else None,
                "rules": list(each.rules),
                "why": each.why,
            }
            for each in proposals
        ],
        "unreadable": [{"subject": each.subject, "now": each.now, "why": each.why} for each in found.unreadable],
        "summary": {
            "placed": sum(each.address is not None for each in proposals),
            "left": found.left,
        },
    }
