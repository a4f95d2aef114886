"""`netcheck survey read`: many lists of hosts made one, with what each brought and where they disagree."""

from __future__ import annotations

from pathlib import Path

import typer

from netcheck.errors import NetcheckError, Problem, SurveyError
from netcheck.text import safe


def command(
    files: list[Path] = typer.Argument(help="Lists of hosts.", metavar="FILE...", show_default=False),
) -> None:
    """Read lists of hosts of any kind and say what each brought.

    Exit code: 0 done, 1 something in them needs mending, 2 bad use or a file that cannot be read at all.

    Example: netcheck survey read leases.txt arp.txt
    """
    from netcheck.plan.model import Place, SurveyEntry
    from netcheck.survey.reading import read_survey

    surveys, problems = [], list[Problem]()
    for path in files:
        try:
            surveys.append(read_survey(SurveyEntry(str(path), Place("command line")), Path()))
        except NetcheckError as error:
            problems += [Problem(one.what, safe(str(path)), one.do) for one in error.problems]
    if problems:
        raise SurveyError(*problems)
    for survey in surveys:
        typer.echo(f"{safe(survey.file)}: {survey.kind}, {len(survey.hosts)} hosts, {survey.skipped.count} not read")
    raise typer.Exit(1 if any(survey.skipped.count for survey in surveys) else 0)
