"""`netcheck carve`: divides a block of addresses into subnets of the requested sizes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from netcheck.cli import options as o
from netcheck.errors import Problem, UsageError
from netcheck.text import safe

T = TypeVar("T")


def command(
    block: Annotated[
        str, typer.Argument(help="The prefix to divide, such as 10.62.0.0/22.", metavar="BLOCK", show_default=False)
    ],
    need: Annotated[
        list[str],
        typer.Option(
            "--need",
            metavar="NAME:HOSTS",
            help="A subnet and the number of its devices. Repeatable.",
            show_default=False,
        ),
    ] = [],  # noqa: B006  # typer copies it
    growth: Annotated[
        str, typer.Option("--growth", metavar="N%", help="Room for later devices, in percent of HOSTS.")
    ] = "0%",
    used: Annotated[
        list[str],
        typer.Option(
            "--used", metavar="PREFIX", help="A prefix in the block that is in use. Repeatable.", show_default=False
        ),
    ] = [],  # noqa: B006  # typer copies it
    plan: Annotated[
        Path | None,
        typer.Option(
            "--plan",
            metavar="PLAN",
            help="Do not use addresses that this plan or its surveys have.",
            show_default=False,
        ),
    ] = None,
    write: Annotated[bool, typer.Option("--write", help="Add the subnets to the plan of --plan.")] = False,
    form: o.Format = o.TextFormat.TEXT,
) -> None:
    """Divide a block into the smallest subnets that hold the devices, one gateway each, and the growth.

    The largest subnet comes first. The network and broadcast address of each IPv4 subnet are counted too. Every IPv6
    subnet is a /64. The rest of the block is listed as the fewest possible prefixes.

    With --plan the new subnets do not contain subnets, routers or addresses of the plan, or hosts of its surveys.

    Exit codes:
      0  divided
      2  wrong use, or the block is too small

    Example: netcheck carve 10.62.0.0/22 --need process:40 --need packing:120 --growth 50%

    Example: netcheck carve 10.62.0.0/22 --need packing:120 --plan plans/tarn-hollow --write
    """
    from netcheck.addr import Prefix
    from netcheck.app.carve import carve_block
    from netcheck.space.carve import Need, growth_from_text

    if not need:
        raise UsageError.of("no subnet was named", do="Name at least one, for example --need process:40")
    prefix = _read("BLOCK", Prefix.from_text, block)
    needs = [_read("--need", Need.from_text, text) for text in need]
    _demand_different([one.name for one in needs])
    share = _read("--growth", growth_from_text, growth)
    taken = [_read("--used", Prefix.from_text, text) for text in used]
    if write and plan is None:
        raise UsageError.of("--write needs a plan to write into", do="Add --plan PLAN")
    as_json = form is o.TextFormat.JSON
    carve_block(prefix, needs, share, used=taken, plan=plan, write=write, as_json=as_json)


def _read(what: str, reader: Callable[[str], T], text: str) -> T:
    try:
        return reader(text)
    except ValueError as error:
        raise UsageError(Problem(f"{what}: {error}")) from error


def _demand_different(names: list[str]) -> None:
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise UsageError.of(f"--need names {safe(twice[0], 60)!r} twice", do="Give every subnet its own name")
