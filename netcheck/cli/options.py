"""Defines the arguments and options that several commands share, and reads values that typer cannot check."""

from __future__ import annotations

import math
import re
import sys
from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from netcheck.errors import Problem, UsageError
from netcheck.text import Pattern, safe

if TYPE_CHECKING:
    from netcheck.proof.events import RunOptions

_DURATION = Pattern(r"(\d{1,7}(?:\.\d{1,3})?)\s*(s|m|min|h)?", re.ASCII)
_UNITS = {"": 1, "s": 1, "m": 60, "min": 60, "h": 3600}


class TextFormat(StrEnum):
    """Formats of every command that prints a result."""

    TEXT = "text"
    JSON = "json"


class FindingsFormat(StrEnum):
    """Formats of the findings of `check`: those of `TextFormat` and further ones."""

    TEXT = "text"
    JSON = "json"
    CSV = "csv"
    MARKDOWN = "markdown"
    JUNIT = "junit"


class LinkKind(StrEnum):
    """Ways to send and receive frames."""

    RAW = "raw"
    PORTABLE = "portable"
    UNPRIVILEGED = "unprivileged"


BEST_LINK = LinkKind.RAW if sys.platform == "linux" else LinkKind.PORTABLE  # the best link of this system
PlanPath = Annotated[
    Path, typer.Argument(help="Plan folder, plan.toml or workbook.", metavar="PLAN", show_default=False)
]
KnownPlan = Annotated[
    Path | None, typer.Option("--plan", metavar="PLAN", help="Plan that names the subnets and devices of the site.")
]
Today = Annotated[
    str,
    typer.Option(
        "--today",
        metavar="DATE",
        help="Date of the check, for the age of surveys. Default: today.",
        show_default=False,
    ),
]
DryRun = Annotated[bool, typer.Option("--dry-run", help="Show the result and write nothing.")]
InterfaceName = Annotated[
    str,
    typer.Option("--interface", "-i", metavar="NAME", help="Network interface; the beginning of its name is enough."),
]
Only = Annotated[
    list[str],
    typer.Option(
        "--only",
        metavar="WORD",
        help="Only these ports, in this order. WORD is a port, interface, device, subnet, place, switch, switch port, "
        "address, range or prefix. Repeatable.",
    ),
]
Again = Annotated[bool, typer.Option("--again", help="Also prove ports that the record has as proven.")]
Permit = Annotated[str, typer.Option("--permit", metavar="TEXT", help="Work order or permission for this work.")]
By = Annotated[str, typer.Option("--by", metavar="NAME", help="Technician and company, for the record.")]
Yes = Annotated[bool, typer.Option("--yes", help="Continue after warnings without asking.")]
Attach = Annotated[
    list[Path],
    typer.Option(
        "--attach",
        metavar="FILE",
        help="Add name, size and SHA-256 of a file, such as a photograph, to the record. Repeatable.",
    ),
]
Remarks = Annotated[
    list[str],
    typer.Option(
        "--remark", metavar="PORT=TEXT", help="Add a remark on a port, or TEXT alone on the whole run. Repeatable."
    ),
]
Format = Annotated[TextFormat, typer.Option("--format", help="Format of the output.")]
SurveyFile = Annotated[
    Path | None, typer.Option("--out", metavar="FILE", help="Write the hosts as a survey (CSV) to this file.")
]
RecordFile = Annotated[
    Path | None, typer.Option("--record", metavar="FILE", help="Record file. Default: <plan>-<date>.jsonl.")
]
CaptureFile = Annotated[
    Path | None, typer.Option("--capture", metavar="FILE", help="Write every frame to this .pcapng file.")
]
Link = Annotated[
    LinkKind,
    typer.Option("--link", metavar="LINK", help="How frames are sent and received: raw, portable or unprivileged."),
]
Patience = Annotated[
    float, typer.Option("--patience", metavar="SECONDS", help="Time to wait for a reply, a pull or a return.")
]
OutFor = Annotated[float, typer.Option("--out-for", metavar="SECONDS", help="Shortest silence with the cable out.")]
Luck = Annotated[
    float, typer.Option("--luck", metavar="NUMBER", help="Largest accepted probability that the silence is chance.")
]
PaceAll = Annotated[float, typer.Option("--pace", metavar="NUMBER", help="Most frames a second in total.")]
PaceEach = Annotated[float, typer.Option("--pace-each", metavar="NUMBER", help="Most frames a second to one address.")]
Say = Annotated[bool, typer.Option("--say", help="Speak each change with the system's speech program.")]
Quiet = Annotated[bool, typer.Option("--quiet", help="Play no sounds.")]


def within(name: str, value: float, low: float, high: float) -> float:
    """Return *value* if it lies between *low* and *high*, else raise UsageError."""
    if not math.isfinite(value) or not low <= value <= high:
        raise UsageError(Problem(f"{name} {value:g} is not a number from {low:g} to {high:g}"))
    return value


def day_from(text: str, option: str = "--today") -> date:
    """Return the date in the form `2026-11-02`, or today's date for an empty text; raise UsageError for other texts."""
    try:
        return date.fromisoformat(text) if text else date.today()
    except ValueError:
        raise UsageError.of(f"{option} {safe(text, 40)!r} is not a date", do="Write it as 2026-11-02") from None


def seconds_from(option: str, text: str) -> float:
    """Return the seconds of a duration such as `60s`, `60`, `5m` or `1h`; raise UsageError for other texts."""
    found = _DURATION.fullmatch(text.strip())
    if found is None:
        raise UsageError(Problem(f"{option} {safe(text, 40)!r} is not a duration", do="Write it as 60s, 5m or 1h"))
    return within(option, float(found[1]) * _UNITS[found[2] or ""], 1, 86400)


def demand_one_of_write_and_dry_run(write: bool, dry_run: bool) -> None:
    """Raise UsageError if both --write and --dry-run were given."""
    if write and dry_run:
        raise UsageError.of("--write and --dry-run exclude each other", do="Give one of them")


def run_options(*, patience: float, out_for: float, luck: float, pace: float, pace_each: float) -> RunOptions:
    """Return run options with the numbers that `prove` and `walk` share; raise UsageError if one is out of range."""
    from netcheck.proof.events import RunOptions

    return RunOptions(
        patience=within("--patience", patience, 1, 86400),
        out_for=within("--out-for", out_for, 0, 86400),
        luck=within("--luck", luck, 1e-12, 0.5),
        pace=within("--pace", pace, 1, 10000),
        pace_each=within("--pace-each", pace_each, 0.5, 1000),
    )
