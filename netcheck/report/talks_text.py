"""The ways of a plan's conversations, there and back, as text and as JSON."""

from __future__ import annotations

from typing import Any

from netcheck.rules.engine import Checked
from netcheck.rules.paths import Outcome, Talk, Walk
from netcheck.text import safe


def to_text(checked: Checked) -> str:
    """Three lines a conversation: who with whom and why, there, back."""
    parts = [f"Conversations ({len(checked.talks)})\n", *map(_lines, checked.talks)]
    return "".join(parts)


def _lines(talk: Talk) -> str:
    conversation = talk.conversation
    why = f" ({safe(conversation.why)})" if conversation.why else ""
    head = f"{safe(conversation.source)} to {safe(conversation.target)}{why}"
    return f"  {head}\n    there: {_way(talk.there)}\n    back:  {_way(talk.back)}\n"


def _way(walk: Walk) -> str:
    through = " through " + ", ".join(map(str, walk.through)) if walk.through else ""
    if walk.outcome is Outcome.DELIVERED:
        return f"delivered{through or ' on its own segment'}"
    return f"{walk.outcome.value}{through}: {safe(walk.why)}"


def to_json(checked: Checked) -> list[dict[str, Any]]:
    """One object a conversation; `why` is null where the packets are delivered."""
    return [
        {
            "from": talk.conversation.source,
            "to": talk.conversation.target,
            "there": _way_json(talk.there),
            "back": _way_json(talk.back),
        }
        for talk in checked.talks
    ]


def _way_json(walk: Walk) -> dict[str, Any]:
    return {"outcome": walk.outcome.value, "through": [*map(str, walk.through)], "why": walk.why or None}
