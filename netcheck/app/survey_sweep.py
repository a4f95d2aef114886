"""Sends an ARP request to every address of a prefix, and prints and writes the hosts that replied."""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path

from netcheck.addr import Prefix, quad
from netcheck.app.choices import demand_interface, demand_survey_file, demand_usable
from netcheck.app.progress import Steps
from netcheck.app.prove import permit_for
from netcheck.app.site_survey import Known, finish, listening_kind, today
from netcheck.errors import LinkError
from netcheck.field.sweep import Sweeping, claim, prefix_to_sweep, sender_for
from netcheck.wire.link import Link
from netcheck.wire.links.open import open_link
from netcheck.wire.station import interfaces

ANONYMOUS = (
    "this computer has no address in {prefix}, so its ARP requests have the sender 0.0.0.0. A device that checks the "
    "same address at that moment, just after its cable was plugged in, must treat them as a conflict (RFC 5227 section "
    "2.1.1). Give this computer an address in the prefix, or name a plan with a station, to avoid that"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepOrder:
    """What to sweep and how: `pace` in requests a second, `rounds` for addresses that do not reply."""

    prefix: str
    interface: str
    permit: str
    pace: float
    rounds: int
    really: bool
    out: Path | None
    plan: Path | None
    link: str
    as_json: bool


def sweep_prefix(order: SweepOrder) -> int:
    """Sweep, print the hosts, and return 1 where something needs attention, else 0."""
    prefix = prefix_to_sweep(order.prefix, order.really)
    kind = listening_kind(order.link)
    order = replace(order, interface=demand_interface(order.interface))
    demand_survey_file(order.out)
    known = Known.by(order.plan)
    demand_usable(order.interface, known.planned, carrier=True)
    permit_for(order.permit)
    with open_link(kind, order.interface) as wire:
        sender = _sender(wire, prefix, known)
        begin, ended = wire.now(), ""
        elsewhere = {a: one.name for one in interfaces() if one.name != order.interface for a, _ in one.addresses}
        work = Sweeping(wire, prefix, sender, order.pace, order.rounds, frozenset(known.planned), elsewhere)
        with Steps(1) as bar:

            def tick(words: str, done: int, of: int) -> None:
                bar.at(done, f"{words}: {done} of {of}, {len(work.result.answers)} there", of)

            try:
                work.run(tick)
            except KeyboardInterrupt:
                ended = "interrupted"
        found = work.findings(today(), wire.now() - begin, ended)
    code = finish(found, known, order.out, order.as_json)
    if ended:
        raise KeyboardInterrupt
    return code


def _sender(wire: Link, prefix: Prefix, known: Known) -> int:
    """Return the sender of the ARP requests: an own address, else the plan's station once it proved free, else 0."""
    own = sender_for(wire.adapters[0], prefix)
    nets = [] if known.base is None else known.base.aim.nets
    station = next((n.station for n in nets if n.station is not None and n.holds(prefix.value)), 0)
    sender = own or station
    if sender in known.planned:
        do = "Give this computer, or the plan's station, an address that is free"
        raise LinkError.of(f"{quad(sender)}, the sender of the requests, is planned for {known.planned[sender]}", do=do)
    if station and not own:
        print(f"making sure that nobody has {quad(station)}, to send from it", file=sys.stderr)
        claim(wire, station)
    elif not own:
        print(f"note: {ANONYMOUS.format(prefix=prefix)}", file=sys.stderr)
    return sender
