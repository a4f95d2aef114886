"""`netcheck identify`: which address a used device has, heard or asked for on a direct cable."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING, Annotated, Any

import typer

from netcheck.cli import options as o
from netcheck.cli.survey_listen import PlanOption, demand_hearing

if TYPE_CHECKING:
    from netcheck.app.site_survey import Known
    from netcheck.field.discovery import DiscoveredHost, Discovery
    from netcheck.field.identify import Answered, Reach
    from netcheck.field.listen import Listener
    from netcheck.wire.link import Link

FASTEST = 100  # questions a second: old controllers stand that
SILENT = "it was not heard: switch it off and on, or pull the cable and put it in again, while this listens; {}".format
NO_ADDRESS = "it was heard and told no address: listen longer, with --for; {}".format
WANTS_ONE = (
    "it has no address and asks for one by DHCP or BOOTP: give it one by such a server on this computer, or by its "
    "maker's tool"
)


def command(
    interface: Annotated[str, typer.Option("--interface", "-i", help="Interface with the cable to the device.")] = "",
    ask: Annotated[bool, typer.Option("--ask", help="If it is not heard, ask for it by ARP.")] = False,
    lasts: Annotated[str, typer.Option("--for", help="How long to listen at most: 60s, 5m.")] = "60s",
    plan: PlanOption = None,
    permit: o.Permit = "",
    pace: Annotated[float, typer.Option("--pace", help="Questions a second, with --ask.")] = 20.0,
    link: o.Link = o.LinkKind.RAW,
    form: o.Format = o.Form.TEXT,
) -> None:
    """Find out the address of a used device on a direct cable, and what to set on this computer to reach it.

    Listens for what the device announces when its link comes up: ARP, DHCP or BOOTP, LLDP. Sends nothing without --ask;
    with it, where nothing was heard, the plan's subnets and the usual private ones are asked by ARP, one after the
    other. Exit code: 0 one device with an address, 1 none or several, 2 bad use, 3 the interface cannot be used.

    Example: netcheck identify -i eth0 --ask --plan plans/tarn-hollow
    """
    from netcheck.app.choices import demand_interface
    from netcheck.app.progress import Steps
    from netcheck.app.site_survey import Known
    from netcheck.field.identify import EVERYWHERE, Answered, hear
    from netcheck.field.listen import Listener
    from netcheck.wire.links.open import open_link

    seconds = o.seconds_from("--for", lasts)
    pace = o.within("--pace", pace, 0.1, FASTEST)
    demand_interface(interface)
    kind = demand_hearing(link)
    known = Known.by(plan)
    answered, why = Answered({}, ()), ""
    with open_link(kind, interface, listens=True) as wire, Steps(round(seconds)) as bar:
        ear = Listener(frozenset({wire.ways[0].mac}), EVERYWHERE)
        begin = wire.now()
        _say(f"listening on {interface}, up to {round(seconds)} s: plug the device in now, or switch it off and on")
        try:
            why = hear(wire, ear, seconds, lambda passed: bar.at(round(passed), f"listening: {ear.frames} frames"))
            if ask and not why and not ear.hosts:
                answered = _ask(wire, ear, known, permit, pace, bar, begin)
        except KeyboardInterrupt:
            why = "interrupted"
        spent = wire.now() - begin
        own = wire.ways[0].addresses
    found = _findings(ear, answered, interface, spent, why, ask)
    reaches = _reaches(found, own, known)
    typer.echo(
        json.dumps(_shape(found, reaches, known), indent=2) if form is o.Form.JSON else _text(found, reaches, known)
    )
    if why == "interrupted":
        raise KeyboardInterrupt
    raise typer.Exit(0 if len({host.mac for host in found.hosts}) == 1 and not found.mend else 1)


def _say(words: str) -> None:
    print(words, file=sys.stderr, flush=True)


def _ask(wire: Link, ear: Listener, known: Known, permit: str, pace: float, bar: Any, begin: float) -> Answered:
    """Ask, once a check of its own address must be over; a network with several on it needs a permit."""
    from netcheck.addr import Address, Prefix
    from netcheck.app.prove import permit_for
    from netcheck.field.identify import SETTLED, Answered, ask, prefixes_to_ask
    from netcheck.field.listen import take

    if len(ear.macs) > 1:
        _say(f"this is no direct cable: {len(ear.macs)} devices were heard")
        permit_for(permit)
    if not wire.carrier():
        return Answered({}, (), "there is no carrier: is the cable in, and the device switched on?")
    take(wire, ear, begin + SETTLED)
    if ear.hosts:
        return Answered({}, ())
    prefixes = list(prefixes_to_ask(Prefix.of(Address(4, first), length) for first, length in known.nets))
    minutes = sum(prefix.usable.size for prefix in prefixes) / pace / 60
    _say(f"nothing was heard: asking {len(prefixes)} prefixes by ARP, {minutes:.1f} minutes at most")
    own = frozenset(address for address, _ in wire.ways[0].addresses)
    return ask(wire, prefixes, own, pace, lambda words, done, of: bar.at(done, words, of))


def _findings(ear: Listener, answered: Answered, interface: str, seconds: float, why: str, asked: bool) -> Discovery:
    from netcheck.addr import mac_text, quad
    from netcheck.app.site_survey import today
    from netcheck.field.discovery import Discovery
    from netcheck.field.identify import hosts_of
    from netcheck.text import listed

    hosts = (*ear.found(), *hosts_of(answered.answers))
    ended = why or answered.why
    notes = [f"it ended early: {ended}"] if ended else []
    notes += [f"{quad(one.address)}: {mac_text(one.mac)} {one.by[0]}" for one in ear.wanted()[:20]]
    if answered.asked and not hosts:
        notes.append(f"nobody answered in {listed(list(map(str, answered.asked)), 40)}")
    if not hosts and not ended:
        notes.append(_silent(ear, asked))
    heard = {host.mac for host in hosts}
    nameless = tuple(one for one in ear.nameless() if one.mac not in heard)
    return Discovery(interface, today(), hosts, nameless, notes=tuple(notes), seconds=seconds, complete=not ended)


def _silent(ear: Listener, asked: bool) -> str:
    """What to do where no address was told."""
    from netcheck.field.listen import DHCP

    if any(DHCP in how for how in ear.macs.values()):
        return WANTS_ONE
    say = NO_ADDRESS if ear.macs else SILENT
    return say("it may have no address yet" if asked else "or ask for it, with --ask")


def _reaches(found: Discovery, own: tuple[tuple[int, int], ...], known: Known) -> dict[DiscoveredHost, Reach]:
    from netcheck.field.identify import reach

    heard = {host.address for host in found.hosts}

    def taken(address: int) -> bool:
        return address in heard or bool(known.of_address(address))

    return {host: reach(host.address, own, known.nets, taken) for host in found.hosts}


def _shape(found: Discovery, reaches: dict[DiscoveredHost, Reach], known: Known) -> dict[str, Any]:
    """The object that `--format json` prints."""
    from netcheck.addr import quad
    from netcheck.app.site_survey import vendor_of
    from netcheck.report.text.hosts import to_json

    shape = to_json(found, None, vendor_of())
    del shape["survey"], shape["proxy_arp"]
    for host, entry in zip(found.hosts, shape["hosts"], strict=True):
        to = reaches[host]
        entry["known_as"] = known.of(host) or None
        entry["planned"] = known.planned.get(host.address)
        entry["set"] = {
            "address": quad(to.address) if to.address else None,
            "prefix_length": to.length,
            "already": to.ours,
            "guessed": to.guessed,
        }
    for host, entry in zip(found.nameless, shape["without_address"], strict=True):
        entry["known_as"] = known.of(host) or None
    return shape


def _text(found: Discovery, reaches: dict[DiscoveredHost, Reach], known: Known) -> str:
    from textwrap import fill

    from netcheck.app.site_survey import terminal_width, vendor_of
    from netcheck.report.text.hosts import owners_twice, to_table
    from netcheck.text import safe

    width = terminal_width()
    lines = owners_twice(found)
    lines += [f"note: {safe(note, 1000)}" for note in found.notes]
    lines += [_words(host, to, found.interface, known) for host, to in list(reaches.items())[:8]]
    table = to_table(found, vendor_of(), known.of, width) or "nobody was heard"
    return "\n".join([table, *(fill(line, width) if width else line for line in lines)])


def _words(host: DiscoveredHost, to: Reach, interface: str, known: Known) -> str:
    """What to set on this computer, in a sentence or two."""
    from netcheck.addr import Mask, quad
    from netcheck.text import safe

    who = f"to reach {quad(host.address)}"
    if to.ours:
        return f"{who}: this computer already has {quad(to.address)}/{to.length} on {safe(interface)}"
    if not to.address:
        return f"{who}: no address is free beside it in a /{to.length}; take a longer look at its subnet"
    mask = Mask.from_text(f"/{to.length}")
    guess = "; its mask is not known, a /24 is a guess" if to.guessed and to.length == 24 else ""
    return f"{who}: set {quad(to.address)}, mask {mask} (/{to.length}), on {safe(interface)}{guess}"
