"""The safety notes; their text is the same before the first frame, in every report and in the README."""

from __future__ import annotations

CAUTION = (
    "Work only with the permission of the network's owner.",
    "Pulling a cable can stop a running process or defeat a function that depends on the network: pull one only on "
    "equipment that was released for the work under the site's own lock-out rules. A pulled network cable isolates "
    "nothing.",
    "Panels are opened by people qualified for it under local codes.",
    "netcheck replaces none of these.",
)


def caution_to_text(width: int = 100) -> str:
    """Return the safety notes as lines of at most `width` characters."""
    from textwrap import fill

    items = (fill(item, width, initial_indent="- ", subsequent_indent="  ") for item in CAUTION)
    return "\n".join(("Before anything is sent:", *items, ""))
