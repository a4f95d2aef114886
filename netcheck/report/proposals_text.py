"""Proposed addresses as a table of text, and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from tabulate import tabulate

from netcheck.rules.proposing import Proposal
from netcheck.text import safe

HEADERS = ("interface", "now", "proposed", "for", "why this one")
NARROWEST = 16  # columns of the last cell; the first four take what they need, up to a limit
LIMITS = (24, 15, 15, 18)


def to_text(proposals: Sequence[Proposal], width: int | None) -> str:
    """A table wrapped to a width, or one line a proposal where there is none."""
    if not proposals:
        return "Every interface has an address, and no finding asks for another.\n"
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
    limits = _limits(rows, width) if width else None
    table = tabulate(rows, HEADERS, tablefmt="simple", disable_numparse=True, maxcolwidths=limits)
    return "\n".join(line.rstrip() for line in table.splitlines()) + "\n"


def _limits(rows: Sequence[tuple[str, ...]], width: int) -> list[int]:
    needed = [max(len(row[column]) for row in (*rows, HEADERS)) for column in range(len(LIMITS))]
    first = [min(need, limit) for need, limit in zip(needed, LIMITS, strict=True)]
    return [*first, max(width - sum(first) - 2 * len(first), NARROWEST)]


def to_json(proposals: Sequence[Proposal]) -> dict[str, Any]:
    """One object; `address` is null where nothing could be proposed, `now` where there is no address yet."""
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
        "summary": {
            "placed": sum(each.address is not None for each in proposals),
            "left": sum(each.address is None for each in proposals),
        },
    }
