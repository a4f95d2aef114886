"""`netcheck walk`: walk along the panels and pull each cable for some seconds, in any order."""

from __future__ import annotations

from pathlib import Path

import typer

from netcheck.cli.prove import Form, LinkKind, within


def command(
    plan: Path = typer.Argument(help="Plan folder, plan.toml or workbook.", metavar="PLAN", show_default=False),
    interface: str = typer.Option("", "--interface", "-i", help="Network interface to prove through."),
    only: list[str] = typer.Option([], "--only", help="Prove only this interface or port; repeatable."),
    lasts: float | None = typer.Option(None, "--for", help="End after so many seconds."),
    once: bool = typer.Option(False, "--once", help="Accept one pull of a cable instead of two."),
    permit: str = typer.Option("", "--permit", help="Work order or permission under which this is done."),
    form: Form = typer.Option(Form.TEXT, "--format", help="How to print the result."),
    record: Path | None = typer.Option(None, "--record", help="Record file; default <plan>-<date>.jsonl."),
    capture: Path | None = typer.Option(None, "--capture", help="Keep every frame in this .pcapng file."),
    link: LinkKind = typer.Option(LinkKind.RAW, "--link", help="How to reach the wire."),
    patience: float = typer.Option(60.0, "--patience", help="Seconds to wait for a cable to come back."),
    out_for: float = typer.Option(0.0, "--out-for", help="Least seconds of silence with the cable out."),
    luck: float = typer.Option(1e-4, "--luck", help="Largest chance that the silence is luck."),
    pace: float = typer.Option(500.0, "--pace", help="Frames a second in all, at most."),
    pace_each: float = typer.Option(5.0, "--pace-each", help="Frames a second to one address, at most."),
    quiet: bool = typer.Option(False, "--quiet", help="No sounds."),
) -> None:
    """Watch all addresses while you pull each cable twice for some seconds, in any order.

    Everything is connected through switches. A pull is noticed by itself; a second one within a minute proves the port.
    Ends when all are proven, after --for SECONDS, or on q. Exit codes as for prove.

    Example: netcheck walk plans/tarn-hollow -i eth0 --permit "work order 118"
    """
    from netcheck.cli.proving import Order, run
    from netcheck.proof.events import Settings
    from netcheck.proof.walking import Walker

    settings = Settings(
        once=once,
        lasts=None if lasts is None else within("--for", lasts, 1, 1e6),
        patience=within("--patience", patience, 1, 86400),
        out_for=within("--out-for", out_for, 0, 86400),
        luck=within("--luck", luck, 1e-12, 0.5),
        pace=within("--pace", pace, 1, 10000),
        pace_each=within("--pace-each", pace_each, 0.5, 1000),
    )
    order = Order(plan, interface, tuple(only), settings, permit, link, record, capture, form is Form.JSON, quiet)
    raise typer.Exit(run(order, Walker))
