"""`netcheck prove`: proves a plan port by port, with the cable in, out and in again."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

import typer

from netcheck.cli import options as o
from netcheck.errors import Problem, UsageError


def command(
    plan: o.PlanPath,
    interface: o.InterfaceName = "",
    only: o.Only = [],  # noqa: B006  # typer copies it
    again: o.Again = False,
    hands_free: Annotated[bool, typer.Option("--hands-free", help="Prove without keys.")] = False,
    direct: Annotated[
        bool, typer.Option("--direct", help="The cable connects this computer directly to the port.")
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
    typed: Annotated[
        bool, typer.Option("--settings", help="Find the device's mask and gateway by its behaviour; needs --direct.")
    ] = False,
    ask_modbus: Annotated[
        bool,
        typer.Option(
            "--ask-modbus", help="Ask each proven device for its identity by one Modbus/TCP read; writes nothing."
        ),
    ] = False,
    pace: o.PaceAll = 500.0,
    pace_each: o.PaceEach = 5.0,
    say: o.Say = False,
    quiet: o.Quiet = False,
) -> None:
    """Prove port by port that each address answers through its connector, and that no other device does.

    Keys:
      Enter  confirm that the cable was moved
      s      skip this port; it is asked for once more at the end
      n      choose the next port: type its name or number
      r      prove the last port again
      m      type a remark
      q      stop

    Sounds, as bells of the terminal:
      ..       pull now
      .        it is out: leave it out
      ...      plug it in now
      . .      it answers: leave it in
      .. ..    move cables, or put them back
      . . .    proven
      ... ...  another verdict than proven
      .....    look at the screen

    Exit codes:
      0  every requested port is proven
      1  a requested port is not proven
      2  wrong use or input
      3  the interface cannot be used

    Example: netcheck prove plans/tarn-hollow -i eth0 --permit "work order 118"
    """
    from netcheck.app.prove import Order, run
    from netcheck.record.attachment import attachments_of

    if typed and not (direct and link is not o.LinkKind.UNPRIVILEGED):
        what = "--settings needs a direct cable and a link that receives ARP"
        raise UsageError(Problem(what, do="Add --direct, and use --link raw or --link portable"))
    options = o.run_options(patience=patience, out_for=out_for, luck=luck, pace=pace, pace_each=pace_each)
    order = Order(
        plan=plan,
        interface=interface,
        only=tuple(only),
        again=again,
        settings=replace(options, revisits=True, hands_free=hands_free, direct=direct, typed=typed),
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
        ask_modbus=ask_modbus,
    )
    raise typer.Exit(run(order))
