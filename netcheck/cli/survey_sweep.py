"""`netcheck survey sweep`: lists the hosts that reply to an ARP request for every address of a prefix."""

from __future__ import annotations

from typing import Annotated

import typer

from netcheck.cli import options as o

FASTEST = 500  # requests a second, all of them broadcast


def command(
    prefix: Annotated[str, typer.Argument(help="What to sweep, such as 192.0.2.0/24.", metavar="PREFIX")],
    interface: o.InterfaceName = "",
    permit: o.Permit = "",
    pace: Annotated[float, typer.Option("--pace", help="Requests a second; all are broadcast.")] = 20.0,
    rounds: Annotated[int, typer.Option("--rounds", help="Requests to an address that does not reply.")] = 2,
    really: Annotated[bool, typer.Option("--really", help="Sweep more than a /20.")] = False,
    out: o.SurveyFile = None,
    plan: o.KnownPlan = None,
    link: o.Link = o.BEST_LINK,
    form: o.Format = o.TextFormat.TEXT,
) -> None:
    """Send an ARP request to every address of a prefix and list who replies.

    The sender is this computer's own address there, else the plan's station address, else none. Exit code: 0 done, 1 an
    address has two owners, a router replies for others or not all were asked, 2 bad use, 3 the interface cannot be
    used.

    Example: netcheck survey sweep -i eth0 10.62.20.0/24 --permit "work order 118" --out site-hosts.csv
    """
    from netcheck.app.survey_sweep import SweepOrder, sweep_prefix

    order = SweepOrder(
        prefix=prefix,
        interface=interface,
        permit=permit,
        pace=o.within("--pace", pace, 0.1, FASTEST),
        rounds=round(o.within("--rounds", rounds, 1, 10)),
        really=really,
        out=out,
        plan=plan,
        link=link,
        as_json=form is o.TextFormat.JSON,
    )
    raise typer.Exit(sweep_prefix(order))
