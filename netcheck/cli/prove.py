"""`netcheck prove`: port by port, cable in, out and back."""

from __future__ import annotations

import math
from enum import StrEnum
from pathlib import Path

import typer

from netcheck.errors import Problem, UsageError


class Form(StrEnum):
    """How the result is printed."""

    TEXT = "text"
    JSON = "json"


class LinkKind(StrEnum):
    """Which link to use."""

    RAW = "raw"
    PORTABLE = "portable"
    UNPRIVILEGED = "unprivileged"


def within(name: str, value: float, low: float, high: float) -> float:
    """Return a number that lies between the limits; UsageError otherwise."""
    if not math.isfinite(value) or not low <= value <= high:
        raise UsageError(Problem(f"{name} {value:g} is not a number from {low:g} to {high:g}"))
    return value


def command(
    plan: Path = typer.Argument(help="Plan folder, plan.toml or workbook.", metavar="PLAN", show_default=False),
    interface: str = typer.Option("", "--interface", "-i", help="Network interface to prove through."),
    only: list[str] = typer.Option([], "--only", help="Prove only this interface or port; repeatable."),
    hands_free: bool = typer.Option(False, "--hands-free", help="Never wait for a key."),
    direct: bool = typer.Option(False, "--direct", help="The cable goes straight from this computer to the port."),
    permit: str = typer.Option("", "--permit", help="Work order or permission under which this is done."),
    form: Form = typer.Option(Form.TEXT, "--format", help="How to print the result."),
    record: Path | None = typer.Option(None, "--record", help="Record file; default <plan>-<date>.jsonl."),
    capture: Path | None = typer.Option(None, "--capture", help="Keep every frame in this .pcapng file."),
    link: LinkKind = typer.Option(LinkKind.RAW, "--link", help="How to reach the wire."),
    patience: float = typer.Option(60.0, "--patience", help="Seconds to wait for an answer, a pull, a return."),
    out_for: float = typer.Option(0.0, "--out-for", help="Least seconds of silence with the cable out."),
    luck: float = typer.Option(1e-4, "--luck", help="Largest chance that the silence is luck."),
    typed: bool = typer.Option(False, "--settings", help="Find out mask and gateway by behaviour; needs --direct."),
    ask_modbus: bool = typer.Option(
        False, "--ask-modbus", help="Ask each proven device who it is: one Modbus/TCP connection, read only."
    ),
    pace: float = typer.Option(500.0, "--pace", help="Frames a second in all, at most."),
    pace_each: float = typer.Option(5.0, "--pace-each", help="Frames a second to one address, at most."),
    quiet: bool = typer.Option(False, "--quiet", help="No sounds."),
) -> None:
    """Prove port by port that each address answers through its connector, and nothing else does.

    Keys: Enter confirms, s skips, q stops. Exit code: 0 every port asked for is proven, 1 otherwise, 2 bad use or
    input, 3 the interface cannot be used.

    Example: netcheck prove plans/tarn-hollow -i eth0 --permit "work order 118"
    """
    from netcheck.cli.proving import Order, run
    from netcheck.proof.events import Settings

    if typed and not (direct and link is not LinkKind.UNPRIVILEGED):
        raise UsageError(
            Problem("--settings needs a direct cable and a link that hears ARP", do="Add --direct, and use --link raw")
        )
    settings = Settings(
        hands_free=hands_free,
        direct=direct,
        patience=within("--patience", patience, 1, 86400),
        out_for=within("--out-for", out_for, 0, 86400),
        luck=within("--luck", luck, 1e-12, 0.5),
        pace=within("--pace", pace, 1, 10000),
        pace_each=within("--pace-each", pace_each, 0.5, 1000),
        typed=typed,
    )
    order = Order(
        plan, interface, tuple(only), settings, permit, link, record, capture, form is Form.JSON, quiet,
        ask_modbus=ask_modbus,
    )  # fmt: skip
    raise typer.Exit(run(order))
