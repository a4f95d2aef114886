"""`netcheck identify`: finds the address of a used device on a direct cable."""

from __future__ import annotations

from typing import Annotated

import typer

from netcheck.cli import options as o

FASTEST = 100  # requests a second; common practice for old controllers, no source


def command(
    interface: o.InterfaceName = "",
    ask: Annotated[bool, typer.Option("--ask", help="If no device is heard, send ARP requests.")] = False,
    lasts: Annotated[
        str, typer.Option("--for", metavar="TIME", help="Longest time to listen, such as 60s or 5m.")
    ] = "60s",
    plan: o.KnownPlan = None,
    permit: o.Permit = "",
    pace: Annotated[float, typer.Option("--pace", metavar="NUMBER", help="Requests a second, with --ask.")] = 20.0,
    link: o.Link = o.BEST_LINK,
    form: o.Format = o.TextFormat.TEXT,
) -> None:
    """Find the address of a used device on a direct cable, and the address with which this computer reaches it.

    The command listens for the frames that a device sends when its link comes up: ARP, DHCP or BOOTP, LLDP. Without
    --ask it sends nothing. With --ask, if it heard nothing, it sends ARP requests to the plan's subnets and to the
    usual private subnets, one after the other.

    Exit codes:
      0  one device with an address
      1  no such device, or several
      2  wrong use
      3  the interface cannot be used

    Example: netcheck identify -i eth0 --ask --plan plans/tarn-hollow
    """
    from netcheck.app.identify import IdentifyOrder, identify

    order = IdentifyOrder(
        interface=interface,
        ask=ask,
        seconds=o.seconds_from("--for", lasts),
        plan=plan,
        permit=permit,
        pace=o.within("--pace", pace, 0.1, FASTEST),
        link=link,
        as_json=form is o.TextFormat.JSON,
    )
    raise typer.Exit(identify(order))
