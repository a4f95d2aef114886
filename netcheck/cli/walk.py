"""`netcheck walk`: proves all ports while a technician pulls the cables in any order."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

import typer

from netcheck.cli import options as o


def command(
    plan: o.PlanPath,
    interface: o.InterfaceName = "",
    only: o.Only = [],  # noqa: B006  # typer copies it
    again: o.Again = False,
    lasts: Annotated[float | None, typer.Option("--for", metavar="SECONDS", help="Stop after this time.")] = None,
    once: Annotated[bool, typer.Option("--once", help="Prove a port by one pull instead of two.")] = False,
    in_order: Annotated[
        bool, typer.Option("--in-order", help="Announce the ports one by one, in the plan's order.")
    ] = False,
    permit: o.Permit = "",
    yes: o.Yes = False,
    by: o.By = "",
    attach: o.Attach = [],  # noqa: B006  # typer copies it
    remark: o.Remarks = [],  # noqa: B006  # typer copies it
    form: o.Format = o.TextFormat.TEXT,
    record: o.RecordFile = None,
    capture: o.CaptureFile = None,
    link: o.Link = o.BEST_LINK,
    patience: o.Patience = 60.0,
    out_for: o.OutFor = 0.0,
    luck: o.Luck = 1e-4,
    pace: o.PaceAll = 500.0,
    pace_each: o.PaceEach = 5.0,
    say: o.Say = False,
    quiet: o.Quiet = False,
) -> None:
    """Prove all ports while you pull each cable twice for some seconds, in any order.

    All devices must be connected through switches. The first pull of a cable needs no key; the second pull, when the
    screen asks for it, proves the port. If the plan has no MAC for an interface, press the number of its row while the
    cable is out, or use --in-order. The run ends when all ports are proven, after --for SECONDS, or with the key q.

    Keys:
      1, 2 ...  the cable of this row is out
      n         with --in-order, choose the next port: type its name
      m         type a remark
      q         stop

    Sounds, as bells of the terminal:
      ..       pull now
      .        it is out: leave it out
      ...      plug it in now
      . .      it answers: leave it in
      . ..     seen once: leave it in
      .. ..    move cables, or put them back
      . . .    proven
      ... ...  another verdict than proven
      .....    look at the screen

    Exit codes:
      0  every requested port is proven
      1  a requested port is not proven
      2  wrong use or input
      3  the interface cannot be used

    Example: netcheck walk plans/tarn-hollow -i eth0 --permit "work order 118"
    """
    from netcheck.app.prove import Order, run
    from netcheck.proof.walk.walk import Walk, without_macs
    from netcheck.record.attachment import attachments_of

    until = None if lasts is None else o.within("--for", lasts, 1, 1e6)
    options = o.run_options(patience=patience, out_for=out_for, luck=luck, pace=pace, pace_each=pace_each)
    order = Order(
        plan=plan,
        interface=interface,
        only=tuple(only),
        again=again,
        settings=replace(options, once=once, in_order=in_order, lasts=until),
        permit=permit,
        by=by.strip(),
        files=attachments_of(attach),
        yes=yes,
        remarks=tuple(remark),
        say=say,
        link=link,
        record=record,
        capture=capture,
        as_json=form is o.TextFormat.JSON,
        quiet=quiet,
    )
    raise typer.Exit(run(order, Walk, lambda scope: "" if in_order else without_macs(scope.asked)))
