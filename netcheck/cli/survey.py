"""`netcheck survey`: lists the hosts of the site, from the site's own lists or from the wire."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netcheck.cli import options as o
from netcheck.cli.help_pages import PlainHelpCommand, PlainHelpGroup
from netcheck.text import flowing

FASTEST = 500  # requests a second of a sweep, all of them broadcast

Files = Annotated[list[Path] | None, typer.Argument(help="Lists of hosts.", metavar="FILE", show_default=False)]
ComparedPlan = Annotated[
    Path | None,
    typer.Option(
        "--plan",
        metavar="PLAN",
        help="Compare the lists with the subnets of this plan; without FILE, read the plan's own surveys.",
    ),
]


def read(
    files: Files = None,
    out: o.SurveyFile = None,
    plan: ComparedPlan = None,
    form: o.Format = o.TextFormat.TEXT,
    maps: Annotated[
        list[str] | None,
        typer.Option(
            "--map",
            metavar="TITLE=FIELD",
            help='Read a column of the lists as this field, such as "Wo=address". Repeatable.',
        ),
    ] = None,
) -> None:
    """Read lists of hosts of any kind, merge them, and report their contents and their disagreements.

    The kind of a list is recognised by its content: csv, xlsx, hosts, zone, leases, dhcp, neighbours, capture.

    Exit codes:
      0  done
      1  a part could not be read, or lists disagree
      2  wrong use, or a file that cannot be read at all

    Example: netcheck survey read leases.txt arp.txt plant.pcap --out site-hosts.csv
    """
    from netcheck.app.survey import merge_surveys

    raise typer.Exit(merge_surveys(files or [], out, plan, maps or [], as_json=form is o.TextFormat.JSON))


def listen(
    interface: o.InterfaceName = "",
    lasts: Annotated[str, typer.Option("--for", metavar="TIME", help="Time to listen, such as 60s, 5m or 1h.")] = "60s",
    out: o.SurveyFile = None,
    plan: o.KnownPlan = None,
    link: o.Link = o.BEST_LINK,
    form: o.Format = o.TextFormat.TEXT,
) -> None:
    """Listen for hosts that send frames by themselves. Nothing is sent.

    The command lists the senders of ARP, of IPv4 on this link, of DHCP and of LLDP.

    Exit codes:
      0  done
      1  an address has two owners, or the interface went down
      2  wrong use
      3  the interface cannot be used

    Example: netcheck survey listen -i eth0 --for 10m --out heard.csv
    """
    from netcheck.app.survey import listen_for_hosts

    seconds = o.seconds_from("--for", lasts)
    raise typer.Exit(listen_for_hosts(interface, seconds, out, plan, link, as_json=form is o.TextFormat.JSON))


def sweep(
    prefix: Annotated[str, typer.Argument(help="The prefix to sweep, such as 192.0.2.0/24.", metavar="PREFIX")],
    interface: o.InterfaceName = "",
    permit: o.Permit = "",
    pace: Annotated[
        float, typer.Option("--pace", metavar="NUMBER", help="Requests a second; every request is a broadcast.")
    ] = 20.0,
    rounds: Annotated[
        int, typer.Option("--rounds", metavar="NUMBER", help="Requests to each address that does not reply.")
    ] = 2,
    really: Annotated[bool, typer.Option("--really", help="Allow a prefix larger than a /20.")] = False,
    out: o.SurveyFile = None,
    plan: o.KnownPlan = None,
    link: o.Link = o.BEST_LINK,
    form: o.Format = o.TextFormat.TEXT,
) -> None:
    """Send an ARP request to every address of a prefix and list the hosts that reply.

    The sender address is this computer's own address in the prefix, or the plan's station address, or 0.0.0.0.

    Exit codes:
      0  done
      1  an address has two owners, a router answers for other addresses,
         or not all requests were sent
      2  wrong use
      3  the interface cannot be used

    Example: netcheck survey sweep -i eth0 10.62.20.0/24 --permit "work order 118" --out site-hosts.csv
    """
    from netcheck.app.survey import SweepOrder, sweep_prefix

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


app = typer.Typer(no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False, cls=PlainHelpGroup)
for function in (read, listen, sweep):
    app.command(function.__name__, cls=PlainHelpCommand, help=flowing(function.__doc__ or ""))(function)


@app.callback()
def _survey() -> None:
    """List the hosts of the site, from the site's own lists or from the wire.

    Example: netcheck survey read leases.txt arp.txt
    """
