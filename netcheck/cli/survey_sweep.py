"""`netcheck survey sweep`: who answers, by asking every address of a prefix by ARP."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from netcheck.cli import options as o
from netcheck.cli.survey_listen import Out, PlanOption, demand_hearing

if TYPE_CHECKING:
    from netcheck.addr import Prefix
    from netcheck.app.site_survey import Known
    from netcheck.wire.link import Link

FASTEST = 500  # questions a second, all of them broadcast
ANONYMOUS = (
    "this computer has no address in {prefix}, so it asks with sender 0.0.0.0. A device that is checking the same "
    "address at this very moment, just after its cable was plugged in, must take that for a conflict (RFC 5227). Give "
    "this computer an address there, or name a plan with a station, to avoid it"
)


def command(
    prefix: Annotated[str, typer.Argument(help="What to ask, such as 192.0.2.0/24.", metavar="PREFIX")],
    interface: Annotated[str, typer.Option("--interface", "-i", help="Network interface to ask through.")] = "",
    permit: o.Permit = "",
    pace: Annotated[float, typer.Option("--pace", help="Questions a second; all are broadcast.")] = 20.0,
    rounds: Annotated[int, typer.Option("--rounds", help="How often to ask those that do not answer.")] = 2,
    really: Annotated[bool, typer.Option("--really", help="Ask more than a /20.")] = False,
    out: Out = None,
    plan: PlanOption = None,
    link: o.Link = o.LinkKind.RAW,
    form: o.Format = o.Form.TEXT,
) -> None:
    """Ask every address of a prefix by ARP and list who answers.

    Asks from this computer's own address there, else from the plan's station address, else without a sender. Exit code:
    0 done, 1 an address has two owners, a router answers for others or not all were asked, 2 bad use, 3 the interface
    cannot be used.

    Example: netcheck survey sweep -i eth0 10.62.20.0/24 --permit "work order 118" --out site-hosts.csv
    """
    from netcheck.app.choices import demand_interface, demand_survey_file, demand_usable
    from netcheck.app.progress import Steps
    from netcheck.app.prove import permit_for
    from netcheck.app.site_survey import Known, finish, today
    from netcheck.field.sweep import Sweeping, prefix_to_sweep
    from netcheck.wire.links.open import open_link

    asked = prefix_to_sweep(prefix, really)
    pace, rounds = o.within("--pace", pace, 0.1, FASTEST), round(o.within("--rounds", rounds, 1, 10))
    kind = demand_hearing(link)
    demand_interface(interface)
    demand_survey_file(out)
    known = Known.by(plan)
    demand_usable(interface, carrier=True)
    permit = permit_for(permit)
    with open_link(kind, interface) as wire:
        sender = _sender(wire, asked, known)
        begin, ended = wire.now(), ""
        work = Sweeping(wire, asked, sender, pace, rounds, frozenset(known.planned))
        with Steps(1) as bar:
            try:
                work.run(
                    lambda words, done, of: bar.at(done, f"{words}: {done} of {of}, {len(work.answers)} there", of)
                )
            except KeyboardInterrupt:
                ended = "interrupted"
        found = work.findings(today(), wire.now() - begin, ended)
    code = finish(found, known, out, form is o.Form.JSON)
    if ended:
        raise KeyboardInterrupt
    raise typer.Exit(code)


def _sender(wire: Link, prefix: Prefix, known: Known) -> int:
    """The address to ask from, once it is known to be free to use; 0 for none, which is said."""
    from netcheck.addr import quad
    from netcheck.errors import LinkError
    from netcheck.field.sweep import claim, sender_for

    own = sender_for(wire.ways[0], prefix)
    nets = [] if known.base is None else known.base.aim.nets
    station = next((n.station for n in nets if n.station is not None and n.holds(prefix.value)), 0)
    sender = own or station
    if sender in known.planned:
        do = "Give this computer, or the plan's station, an address that is free"
        raise LinkError.of(f"{quad(sender)}, which would ask, is planned for {known.planned[sender]}", do=do)
    if station and not own:
        print(f"making sure that nobody has {quad(station)}, to ask from it", file=sys.stderr)
        claim(wire, station)
    elif not own:
        print(f"note: {ANONYMOUS.format(prefix=prefix)}", file=sys.stderr)
    return sender
