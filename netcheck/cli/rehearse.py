"""`netcheck rehearse`: prove a plan on a simulated bench, for training; or the truth campaign, for reviewers."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netcheck.cli import options as o
from netcheck.errors import Problem, UsageError


def command(
    plan: Annotated[Path | None, typer.Argument(help="Plan folder, plan.toml or workbook.", metavar="[PLAN]")] = None,
    only: o.Only = [],  # noqa: B006  # typer copies it
    fault: Annotated[
        list[str],
        typer.Option("--fault", help="KIND=DEVICE/INTERFACE; KIND absent, impostor, lossy, no-echo, swapped."),
    ] = [],  # noqa: B006  # typer copies it
    hands_free: Annotated[bool, typer.Option("--hands-free", help="A scripted technician, in no time.")] = False,
    campaign: Annotated[int | None, typer.Option("--campaign", help="Prove so many random sites instead.")] = None,
    seed: Annotated[int, typer.Option("--seed", help="Same seed, same result.")] = 1,
    processes: Annotated[int, typer.Option("--processes", help="Processes for the campaign; 0: one a processor.")] = 0,
    form: o.Format = o.Form.TEXT,
    record: o.RecordFile = None,
    quiet: o.Quiet = False,
) -> None:
    """Prove a plan on a simulated bench, for training; with --campaign, measure how often a proof is false.

    On a terminal you are the technician: Enter moves the cable as you are told and confirms it, s skips, q stops.
    Without one, or hands-free, a scripted technician does it. Two interfaces are swapped by
    --fault swapped=DEVICE/INTERFACE,DEVICE/INTERFACE. Exit code: 0 all proven, or no false proof; 1 otherwise; 2 bad
    use or input.

    Example: netcheck rehearse plans/tarn-hollow-mended --fault impostor=palletiser-plc/cpu

    Example: netcheck rehearse --campaign 2000 --seed 7
    """
    from netcheck.app.rehearse import Training, run_campaign, train

    if (plan is None) == (campaign is None):
        raise UsageError(Problem("rehearse needs a plan, or --campaign N, and not both", do="Give one of them"))
    o.within("--seed", seed, 0, 2**31)
    if campaign is not None:
        sites, workers = (
            int(o.within("--campaign", campaign, 1, 200_000)),
            int(o.within("--processes", processes, 0, 1024)),
        )
        raise typer.Exit(run_campaign(sites, seed, workers, form is o.Form.JSON))
    assert plan is not None
    training = Training(plan, tuple(only), tuple(fault), hands_free, seed, form is o.Form.JSON, record, quiet)
    raise typer.Exit(train(training))
