"""`netcheck rehearse`: proves a plan on a simulated bench for training, or runs the truth campaign."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netcheck.cli import options as o
from netcheck.errors import Problem, UsageError


def command(
    plan: Annotated[Path | None, typer.Argument(help="Plan folder, plan.toml or workbook.", metavar="PLAN")] = None,
    only: o.Only = [],  # noqa: B006  # typer copies it
    fault: Annotated[
        list[str],
        typer.Option(
            "--fault",
            metavar="FAULT",
            help="A fault of the bench, as KIND=DEVICE/INTERFACE. KIND is absent, impostor, lossy, no-echo or swapped. "
            "Repeatable.",
        ),
    ] = [],  # noqa: B006  # typer copies it
    hands_free: Annotated[
        bool, typer.Option("--hands-free", help="A scripted technician moves the cables, in simulated time.")
    ] = False,
    campaign: Annotated[
        int | None,
        typer.Option("--campaign", metavar="NUMBER", help="Prove this number of random sites instead of a plan."),
    ] = None,
    seed: Annotated[int, typer.Option("--seed", metavar="NUMBER", help="The same seed gives the same result.")] = 1,
    processes: Annotated[
        int,
        typer.Option(
            "--processes", metavar="NUMBER", help="Processes for the campaign; 0 means one for each processor."
        ),
    ] = 0,
    form: o.Format = o.TextFormat.TEXT,
    record: o.RecordFile = None,
    again: o.Again = False,
    say: o.Say = False,
    quiet: o.Quiet = False,
) -> None:
    """Prove a plan on a simulated bench, or measure how often a proof is false.

    On a terminal you are the technician: Enter moves the cable that the screen asks for, and confirms it. The other
    keys are those of prove. Without a terminal, or with --hands-free, a scripted technician moves the cables.

    --fault swapped=DEVICE/INTERFACE,DEVICE/INTERFACE swaps the addresses of two interfaces.

    Exit codes:
      0  all ports are proven, or no proof of the campaign is false
      1  otherwise
      2  wrong use or input

    Example: netcheck rehearse plans/tarn-hollow-mended --fault impostor=palletiser-plc/cpu

    Example: netcheck rehearse --campaign 2000 --seed 7
    """
    from netcheck.app.rehearse import Training, run_campaign, train

    if (plan is None) == (campaign is None):
        raise UsageError(Problem("rehearse needs either a plan or --campaign N", do="Give one of them"))
    o.within("--seed", seed, 0, 2**31)
    as_json = form is o.TextFormat.JSON
    if campaign is not None:
        sites = int(o.within("--campaign", campaign, 1, 200_000))
        workers = int(o.within("--processes", processes, 0, 1024))
        raise typer.Exit(run_campaign(sites, seed, workers, as_json))
    assert plan is not None
    training = Training(
        plan=plan,
        only=tuple(only),
        again=again,
        faults=tuple(fault),
        hands_free=hands_free,
        seed=seed,
        as_json=as_json,
        record=record,
        quiet=quiet,
        say=say,
    )
    raise typer.Exit(train(training))
