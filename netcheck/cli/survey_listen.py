"""`netcheck survey listen`: who is there, by what they send themselves; nothing is sent."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from netcheck.cli import options as o

if TYPE_CHECKING:
    from netcheck.field.discovery import Discovery
    from netcheck.field.listen import Listener
    from netcheck.wire.links.open import Kind

Out = Annotated[Path | None, typer.Option("--out", help="Write the hosts as a survey (CSV) to this file.")]
PlanOption = Annotated[Path | None, typer.Option("--plan", help="Plan whose subnets and devices are known.")]
PORTABLE = "the portable link hears ARP, DHCP and LLDP alone, and no other IPv4"
LISTENING = "listening covers nothing: a host that kept silent was not heard, and may have any address"


def command(
    interface: Annotated[str, typer.Option("--interface", "-i", help="Network interface to listen on.")] = "",
    lasts: Annotated[str, typer.Option("--for", help="How long: 60s, 5m, 1h.")] = "60s",
    out: Out = None,
    plan: PlanOption = None,
    link: o.Link = o.LinkKind.RAW,
    form: o.Format = o.Form.TEXT,
) -> None:
    """Listen for hosts that make themselves heard. Nothing is sent.

    Hears who sends ARP, IPv4 on this link, DHCP and LLDP. Exit code: 0 done, 1 an address has two owners or the
    interface went away, 2 bad use, 3 the interface cannot be used.

    Example: netcheck survey listen -i eth0 --for 10m --out heard.csv
    """
    from netcheck.app.choices import demand_interface, demand_survey_file
    from netcheck.app.progress import Steps
    from netcheck.app.site_survey import Known, finish
    from netcheck.field.listen import Listener, listen
    from netcheck.wire.links.open import open_link

    seconds = o.seconds_from("--for", lasts)
    demand_interface(interface)
    demand_survey_file(out)
    known = Known.by(plan)
    with open_link(demand_hearing(link), interface, listens=True) as wire, Steps(round(seconds)) as bar:
        way = wire.ways[0]
        ear = Listener(frozenset({way.mac}), [*way.addresses, *known.nets])
        begin, why, interrupted = wire.now(), "", False
        print(f"listening on {interface} for {round(seconds)} s; Ctrl-C ends it earlier", file=sys.stderr, flush=True)

        def tick(passed: float) -> None:
            bar.at(round(passed), f"listening on {interface}: hosts {len(ear.hosts)}, frames {ear.frames}")

        try:
            why = listen(wire, ear, seconds, tick)
        except KeyboardInterrupt:
            interrupted = True
        lasted = wire.now() - begin
        notes = [PORTABLE] if wire.kind == "portable" else []
    code = finish(
        _findings(ear, interface, lasted, "interrupted" if interrupted else why, notes), known, out, form is o.Form.JSON
    )
    if interrupted:
        raise KeyboardInterrupt
    raise typer.Exit(code)


def demand_hearing(link: o.LinkKind) -> Kind:
    """The kind of a link that hears ARP; UsageError for the one that does not."""
    from netcheck.errors import Problem, UsageError
    from netcheck.wire.links.open import kind_from_text

    if link is o.LinkKind.UNPRIVILEGED:
        raise UsageError(Problem("the unprivileged link hears no ARP", do="Use --link raw, as root"))
    return kind_from_text(link)


def _findings(ear: Listener, interface: str, seconds: float, why: str, more: list[str]) -> Discovery:
    from netcheck.addr import mac_text, quad
    from netcheck.app.site_survey import today
    from netcheck.field.discovery import Discovery

    notes = [LISTENING, *more, *([f"it ended early: {why}"] if why else [])]
    notes += [f"{ear.left_out} further entries were left out: there were too many"] if ear.left_out else []
    notes += [f"{quad(one.address)}: {mac_text(one.mac)} {one.by[0]}" for one in ear.wanted()[:20]]
    return Discovery(
        interface, today(), ear.found(), ear.nameless(), notes=tuple(notes), seconds=seconds, complete=not why
    )
