"""`netcheck suggest`: free addresses for interfaces that have none or must not keep theirs."""

from __future__ import annotations

import json
import shutil
import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from netcheck.app.check import day_from
from netcheck.app.progress import Steps
from netcheck.errors import UsageError
from netcheck.text import safe

if TYPE_CHECKING:
    from netcheck.addr import Address


class Format(StrEnum):
    """How the proposals are printed."""

    TEXT = "text"
    JSON = "json"


def command(
    plan: Path = typer.Argument(help="Plan folder, plan.toml or workbook.", metavar="PLAN", show_default=False),
    write: bool = typer.Option(False, "--write", help="Put the addresses into the plan's files."),
    dry_run: bool = typer.Option(False, "--dry-run", help="Only show them; this is the default."),
    form: Format = typer.Option(Format.TEXT, "--format", help="How to print the proposals."),
    today: str = typer.Option(
        "", "--today", metavar="DATE", help="The day of the check; the default is today.", show_default=False
    ),
) -> None:
    """Propose a free address for every interface without one, and for every address that a finding says must change.

    All proposals fit together, each says why it was chosen, and nothing that is good already is touched. With --write
    they are put into the plan; comments, order and layout stay, and in a workbook everything but these cells.

    Exit code: 0 all could be placed, 1 some could not, 2 bad use or a plan that cannot be read.

    Example: netcheck suggest plans/tarn-hollow --write
    """
    from netcheck.report.text.proposals import to_json, to_text
    from netcheck.rules.propose import propose
    from netcheck.survey.read import read_site

    if write and dry_run:
        raise UsageError.of("--write and --dry-run cannot go together", do="Leave one of them out")
    day = day_from(today)
    with Steps(2) as steps:
        steps.begin(f"reading {plan}")
        read, surveys = read_site(plan)
        steps.end()
        steps.begin("looking for free addresses")
        proposals = propose(read, surveys, day)
    addresses = {each.subject: each.address for each in proposals if each.address is not None}
    written = (
        _write(plan, addresses) if write else []
    )  # first, so that a reader who leaves early cannot stop it halfway
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else None
    print(json.dumps(to_json(proposals), indent=2) if form is Format.JSON else to_text(proposals, width).rstrip("\n"))
    if write:
        print("\n".join(written) or "nothing to write", file=sys.stderr)
    elif addresses and form is Format.TEXT:
        print("\nNothing was written; --write puts these addresses into the plan.")
    raise typer.Exit(int(any(each.address is None for each in proposals)))


def _write(plan: Path, addresses: dict[str, Address]) -> list[str]:
    """Put the addresses into the plan's files, all of which are made ready before the first is replaced."""
    from netcheck.plan.write.addresses import with_addresses, write_all

    edits = with_addresses(plan, addresses)
    write_all(edits)
    return [f"written: {safe(str(edit.path))}" for edit in edits]
