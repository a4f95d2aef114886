"""`netcheck prove`: port by port, cable in, out and back."""

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
    hands_free: Annotated[bool, typer.Option("--hands-free", help="Never wait for a key.")] = False,
    direct: Annotated[bool, typer.Option("--direct", help="The cable goes straight from here to the port.")] = False,
    permit: o.Permit = "",
    form: o.Format = o.Form.TEXT,
    record: o.RecordFile = None,
    capture: o.CaptureFile = None,
    link: o.Link = o.LinkKind.RAW,
    patience: o.Patience = 60.0,
    out_for: o.OutFor = 0.0,
    luck: o.Luck = 1e-4,
    typed: Annotated[
        bool, typer.Option("--settings", help="Find out mask and gateway by behaviour; needs --direct.")
    ] = False,
    ask_modbus: Annotated[
        bool,
        typer.Option("--ask-modbus", help="Ask each proven device who it is: one Modbus/TCP connection, read only."),
    ] = False,
    pace: o.PaceAll = 500.0,
    pace_each: o.PaceEach = 5.0,
    quiet: o.Quiet = False,
) -> None:
    """Prove port by port that each address answers through its connector, and nothing else does.

    Keys: Enter confirms, s skips, q stops. Exit code: 0 every port asked for is proven, 1 otherwise, 2 bad use or
    input, 3 the interface cannot be used.

    Example: netcheck prove plans/tarn-hollow -i eth0 --permit "work order 118"
    """
    from netcheck.app.prove import Order, run

    if typed and not (direct and link is not o.LinkKind.UNPRIVILEGED):
        raise UsageError(
            Problem("--settings needs a direct cable and a link that hears ARP", do="Add --direct, and use --link raw")
        )
    settings = o.settings_with(patience=patience, out_for=out_for, luck=luck, pace=pace, pace_each=pace_each)
    settings = replace(settings, hands_free=hands_free, direct=direct, typed=typed)
    order = Order(
        plan, interface, tuple(only), settings, permit, link, record, capture, form is o.Form.JSON, quiet,
        ask_modbus=ask_modbus,
    )  # fmt: skip
    raise typer.Exit(run(order))
