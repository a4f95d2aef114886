"""`netcheck survey read`: merges lists of hosts and tells where they disagree."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netcheck.cli import options as o

Files = Annotated[list[Path] | None, typer.Argument(help="Lists of hosts.", metavar="FILE...", show_default=False)]
ComparedPlan = Annotated[
    Path | None,
    typer.Option("--plan", help="Plan whose subnets are compared with the lists; without FILE, its own surveys."),
]


def command(
    files: Files = None,
    out: o.SurveyFile = None,
    plan: ComparedPlan = None,
    form: o.Format = o.TextFormat.TEXT,
    maps: Annotated[
        list[str] | None,
        typer.Option("--map", metavar="TITLE=FIELD", help='The field of a title of the lists, such as "Wo=address".'),
    ] = None,
) -> None:
    """Read lists of hosts of any kind, merge them, and tell what each brought and where they disagree.

    Kinds, recognised by content: csv, xlsx, hosts, zone, leases, dhcp, neighbours, capture.

    Exit code: 0 done, 1 something could not be read or lists disagree, 2 bad use or a file that cannot be read at all.

    Example: netcheck survey read leases.txt arp.txt plant.pcap --out site-hosts.csv
    """
    from netcheck.app.survey_read import merge_surveys

    raise typer.Exit(merge_surveys(files or [], out, plan, maps or [], as_json=form is o.TextFormat.JSON))
