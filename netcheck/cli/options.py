"""Options that several commands have, worded once, and the reading of what typer cannot check."""

from __future__ import annotations

import math
import re
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from netcheck.errors import Problem, UsageError
from netcheck.text import safe

if TYPE_CHECKING:
    from netcheck.proof.run_options import RunOptions

_DURATION = re.compile(r"(\d{1,7}(?:\.\d{1,3})?)\s*(s|m|min|h)?", re.ASCII)
_UNITS = {"": 1, "s": 1, "m": 60, "min": 60, "h": 3600}


class Form(StrEnum):
    """How the result is printed."""

    TEXT = "text"
    JSON = "json"


class LinkKind(StrEnum):
    """Which link to use."""

    RAW = "raw"
    PORTABLE = "portable"
    UNPRIVILEGED = "unprivileged"


PlanPath = Annotated[Path, typer.Argument(help="Plan folder, plan.toml or workbook.", metavar="PLAN")]
InterfaceName = Annotated[str, typer.Option("--interface", "-i", help="Network interface to prove through.")]
Only = Annotated[list[str], typer.Option("--only", help="Prove only this interface or port; repeatable.")]
Permit = Annotated[str, typer.Option("--permit", help="Work order or permission under which this is done.")]
Format = Annotated[Form, typer.Option("--format", help="How to print the result.")]
RecordFile = Annotated[Path | None, typer.Option("--record", help="Record file; default <plan>-<date>.jsonl.")]
CaptureFile = Annotated[Path | None, typer.Option("--capture", help="Keep every frame in this .pcapng file.")]
Link = Annotated[LinkKind, typer.Option("--link", help="How to reach the wire.")]
Patience = Annotated[float, typer.Option("--patience", help="Seconds to wait for an answer, a pull, a return.")]
OutFor = Annotated[float, typer.Option("--out-for", help="Least seconds of silence with the cable out.")]
Luck = Annotated[float, typer.Option("--luck", help="Largest chance that the silence is luck.")]
PaceAll = Annotated[float, typer.Option("--pace", help="Frames a second in all, at most.")]
PaceEach = Annotated[float, typer.Option("--pace-each", help="Frames a second to one address, at most.")]
Quiet = Annotated[bool, typer.Option("--quiet", help="No sounds.")]


def within(name: str, value: float, low: float, high: float) -> float:
    """Return a number that lies between the limits; UsageError otherwise."""
    if not math.isfinite(value) or not low <= value <= high:
        raise UsageError(Problem(f"{name} {value:g} is not a number from {low:g} to {high:g}"))
    return value


def seconds_from(option: str, text: str) -> float:
    """Read a duration such as `60s`, `60`, `5m` or `1h`; UsageError where it is none."""
    found = _DURATION.fullmatch(text.strip())
    if found is None:
        raise UsageError(Problem(f"{option} {safe(text, 40)!r} is no duration", do="Write it as 60s, 5m or 1h"))
    return within(option, float(found[1]) * _UNITS[found[2] or ""], 1, 86400)


def settings_with(*, patience: float, out_for: float, luck: float, pace: float, pace_each: float) -> RunOptions:
    """RunOptions with the numbers that prove and walk share, once they have been looked at."""
    from netcheck.proof.run_options import RunOptions

    return RunOptions(
        patience=within("--patience", patience, 1, 86400),
        out_for=within("--out-for", out_for, 0, 86400),
        luck=within("--luck", luck, 1e-12, 0.5),
        pace=within("--pace", pace, 1, 10000),
        pace_each=within("--pace-each", pace_each, 0.5, 1000),
    )
