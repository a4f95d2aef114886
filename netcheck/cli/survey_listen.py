"""`netcheck survey listen`: lists the hosts that send frames by themselves; sends nothing."""

from __future__ import annotations

from typing import Annotated

import typer

from netcheck.cli import options as o


def command(
    interface: o.InterfaceName = "",
    lasts: Annotated[str, typer.Option("--for", help="How long: 60s, 5m, 1h.")] = "60s",
    out: o.SurveyFile = None,
    plan: o.KnownPlan = None,
    link: o.Link = o.BEST_LINK,
    form: o.Format = o.TextFormat.TEXT,
) -> None:
    """Listen for hosts that send frames by themselves. Nothing is sent.

    Hears the senders of ARP, IPv4 on this link, DHCP and LLDP. Exit code: 0 done, 1 an address has two owners or the
    interface went down, 2 bad use, 3 the interface cannot be used.

    Example: netcheck survey listen -i eth0 --for 10m --out heard.csv
    """
    from netcheck.app.survey_listen import listen_for_hosts

    seconds = o.seconds_from("--for", lasts)
    raise typer.Exit(listen_for_hosts(interface, seconds, out, plan, link, as_json=form is o.TextFormat.JSON))
