"""`netcheck carve`: a block of addresses cut into subnets that hold what is needed."""

from __future__ import annotations

import json
from collections.abc import Callable
from enum import StrEnum
from typing import TypeVar

import typer

from netcheck.errors import Problem, UsageError
from netcheck.text import safe

T = TypeVar("T")


class Format(StrEnum):
    """How the carving is printed."""

    TEXT = "text"
    JSON = "json"


def command(
    block: str = typer.Argument(help="The prefix to carve, such as 10.62.0.0/22.", metavar="BLOCK", show_default=False),
    need: list[str] = typer.Option(
        [],
        "--need",
        metavar="NAME:HOSTS",
        help="A subnet and how many devices it holds. Repeatable.",
        show_default=False,
    ),
    growth: str = typer.Option("0%", "--growth", metavar="N%", help="Devices to come, as a share of those asked for."),
    form: Format = typer.Option(Format.TEXT, "--format", help="How to print the subnets."),
) -> None:
    """Cut a block into the smallest subnets that hold the devices, a gateway each and the growth, largest first.

    In IPv4 the network and broadcast address of each subnet are counted too; in IPv6 every subnet is a /64. What is
    left over is listed as the fewest prefixes.

    Exit code: 0 carved, 2 bad use or a block that is too small.

    Example: netcheck carve 10.62.0.0/22 --need process:40 --need packing:120 --growth 50%
    """
    from netcheck.addr import Prefix
    from netcheck.report.text.carving import to_json, to_text
    from netcheck.space.carve import Need, carve, growth_from_text

    if not need:
        raise UsageError.of("there is nothing to carve for", do="Say what is needed, for example --need process:40")
    prefix = _read("BLOCK", Prefix.from_text, block)
    needs = [_read("--need", Need.from_text, text) for text in need]
    _demand_different([one.name for one in needs])
    share = _read("--growth", growth_from_text, growth)
    try:
        carving = carve(prefix, needs, share)
    except ValueError as error:
        raise UsageError(Problem(str(error))) from error
    print(json.dumps(to_json(carving, share), indent=2) if form is Format.JSON else to_text(carving).rstrip("\n"))


def _read(what: str, reader: Callable[[str], T], text: str) -> T:
    try:
        return reader(text)
    except ValueError as error:
        raise UsageError(Problem(f"{what}: {error}")) from error


def _demand_different(names: list[str]) -> None:
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise UsageError.of(f"--need names {safe(twice[0], 60)!r} twice", do="Give every subnet a name of its own")
