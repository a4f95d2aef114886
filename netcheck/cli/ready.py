"""`netcheck ready`: finds faults that would spoil the next proof."""

from __future__ import annotations

import typer

from netcheck.cli import options as o


def command(
    plan: o.PlanPath,
    interface: o.InterfaceName = "",
    only: o.Only = [],  # noqa: B006  # typer copies it
    record: o.RecordFile = None,
    link: o.Link = o.BEST_LINK,
    form: o.Format = o.TextFormat.TEXT,
) -> None:
    """Find faults that would spoil the next proof. Nothing is sent and nothing is changed.

    Run it before you travel. It checks the interface and the right to open it, this computer's addresses and routes,
    VPNs, the clock, and the place of the record. Each line of the result begins with ok, fix or note.

    Exit codes:
      0  nothing to fix
      1  something to fix
      2  wrong use

    Example: netcheck ready plans/tarn-hollow -i eth0
    """
    from netcheck.app.ready import check_readiness

    as_json = form is o.TextFormat.JSON
    raise typer.Exit(check_readiness(plan, interface, only, record, link, as_json=as_json))
