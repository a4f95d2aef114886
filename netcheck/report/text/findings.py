"""Writes the check of a plan as plain text with one finding on a line, for files, pipes and search.

It also writes the paths of the conversations, there and back, as text and JSON. `text_report` has both in Markdown.
"""

from __future__ import annotations

from typing import Any

from tabulate import tabulate

from netcheck.report.finding_groups import (
    MOST_SHOWN,
    Group,
    findings_table,
    groups_of,
    headline,
    next_step,
    summary_line,
)
from netcheck.rules.engine import Checked
from netcheck.rules.reachability.trace import Delivery, Trace, TracedConversation
from netcheck.text import safe

HEADERS = ("rule", "subject", "address", "fix", "what", "where")


def to_text(checked: Checked, *, boxes: bool = False) -> str:
    """Return tables by severity, then the counts, with a final line break.

    With *boxes* the tables are those of a report, with numbers, islands and the decisions to choose from.
    """
    groups = groups_of(checked, MOST_SHOWN, numbered=boxes)
    parts = [headline(checked), *(_table(checked, group, boxes) for group in groups), summary_line(checked)]
    step = next_step(checked)
    return "\n\n".join(parts) + "\n" + (step + "\n" if step else "")


def _table(checked: Checked, group: Group, boxes: bool) -> str:
    """Return the table of one group; with *boxes* as in a report."""
    headers: tuple[str, ...] = HEADERS
    rows: list[tuple[str, ...]] = [
        (row.rule, row.subject, row.address, row.fix, row.message, row.where) for row in group.rows
    ]
    if boxes:
        from netcheck.report.words import titles_of  # imports modules that a check does not need

        columns, rows = findings_table(checked, group, HEADERS)
        headers = titles_of(columns)
    table = tabulate(rows, headers, tablefmt="simple", disable_numparse=True)
    lines = [*(line.rstrip() for line in table.splitlines()), *filter(None, (group.rest,))]
    return f"{group.title} ({group.size})\n" + "\n".join(lines)


PATHS_WIDTH = 120  # columns if the output is not a terminal
NARROWEST_PATH = (
    24  # columns of the path, at least; on a wide screen three fifths of the width that the short columns leave
)
PATH_HEADS = ("conversation", "way", "outcome", "path")


def paths_to_text(checked: Checked, width: int = PATHS_WIDTH) -> str:
    """Return two rows for each conversation, there and back: every hop, or the place and reason of a failure."""
    head = f"Conversations ({len(checked.conversations)})\n"
    if not checked.conversations:
        return head + "  The plan lists no conversations.\n"
    rows = [row for talk in checked.conversations for row in path_rows(talk)]
    room = width - len("there") - len("undecided") - 3 * len("  ")
    first = max(room * 2 // 5, 1)
    last = max(room - first, NARROWEST_PATH)
    return (
        head
        + tabulate(
            rows,
            PATH_HEADS,
            "simple",
            disable_numparse=True,
            maxcolwidths=[first, None, None, last],
            break_on_hyphens=False,
        )
        + "\n"
    )


def path_rows(talk: TracedConversation) -> tuple[tuple[str, ...], ...]:
    """Return the two rows of a conversation, there and back, in the order of `PATH_HEADS`."""
    conversation = talk.conversation
    ends = f"{safe(conversation.source, 80)} to {safe(conversation.target, 80)}"
    why = f" ({safe(conversation.why, 200)})" if conversation.why else ""
    there, back = talk.there, talk.back
    return (
        (ends + why, "there", there.outcome.value, _path(there, conversation.source, conversation.target)),
        ("", "back", back.outcome.value, _path(back, conversation.target, conversation.source)),
    )


def _path(walk: Trace, source: str, target: str) -> str:
    """Return a path such as `a -> 10.62.20.1 -> b`; if delivery fails, with the reason and the value to change."""
    delivered = walk.outcome is Delivery.DELIVERED
    hops = [safe(source, 80), *map(str, walk.through), *([safe(target, 80)] if delivered else [])]
    path = " -> ".join(hops)
    if delivered:
        return path
    return f"{path} -> ?: {safe(walk.why)}" + (f"; {safe(walk.change)}" if walk.change else "")


def paths_to_json(checked: Checked) -> list[dict[str, Any]]:
    """Return one object for each conversation; `why` and `change` are null if packets are delivered."""
    return [
        {
            "from": talk.conversation.source,
            "to": talk.conversation.target,
            "there": _path_json(talk.there),
            "back": _path_json(talk.back),
        }
        for talk in checked.conversations
    ]


def _path_json(walk: Trace) -> dict[str, Any]:
    return {
        "outcome": walk.outcome.value,
        "through": [*map(str, walk.through)],
        "why": walk.why or None,
        "change": walk.change or None,
    }
