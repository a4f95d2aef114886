"""Writes the readiness checks as text and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap
from typing import Any

from netcheck.field.readiness_facts import Level, ReadinessCheck
from netcheck.text import safe

INDENT = " " * 6


def ready(lines: Sequence[ReadinessCheck]) -> bool:
    """Return whether no check asks for a fix."""
    return all(line.level is not Level.FIX for line in lines)


def to_text(lines: Sequence[ReadinessCheck], width: int = 100) -> str:
    """Return one line for each check: `ok`, `fix` or `note`, subject and result. An action stands in the line below.

    The last line counts the checks to fix.
    """
    shown: list[str] = []
    for line in lines:
        said = safe(f"{line.level:<5} {line.about}: {line.what}", 1000)
        shown += wrap(said, max(60, width), subsequent_indent=INDENT)
        shown += wrap(safe(line.do, 1000), max(60, width), initial_indent=INDENT, subsequent_indent=INDENT)
    fixes = sum(line.level is Level.FIX for line in lines)
    return "\n".join([*shown, "", f"{fixes} to fix" if fixes else "ready"])


def to_json(lines: Sequence[ReadinessCheck], interface: str) -> dict[str, Any]:
    """Return the object that `--format json` prints."""
    return {
        "interface": interface,
        "ready": ready(lines),
        "summary": {str(level): sum(line.level is level for line in lines) for level in Level},
        "lines": [
            {"level": str(line.level), "about": line.about, "what": line.what, "do": line.do or None} for line in lines
        ],
    }
