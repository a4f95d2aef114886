"""Finds the address of a used device on a direct cable, and the address with which this computer reaches it."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from textwrap import fill
from typing import Any

from netcheck.addr import Address, Mask, Prefix, mac_text, quad
from netcheck.app.prepare import demand_interface, permit_for
from netcheck.app.progress import Steps
from netcheck.app.survey import Known, listening_kind, terminal_width, today, vendor_of
from netcheck.field.discovery import DiscoveredHost, Discovery
from netcheck.field.identify import EVERYWHERE, SETTLED, Answered, Reach, ask, hear, hosts_of, prefixes_to_ask, reach
from netcheck.field.listen import DHCP, Listener, receive
from netcheck.field.readiness_facts import demand_no_planned_address
from netcheck.report.text.hosts import owners_twice, to_json, to_table
from netcheck.text import listed, safe
from netcheck.wire.link import Link
from netcheck.wire.links.open import open_link
from netcheck.wire.station import interfaces

SILENT = "no device was heard: switch it off and on, or pull its cable and plug it in, while this listens; {}".format
NO_ADDRESS = "a device was heard, but it sent no address: listen longer, with --for; {}".format
WANTS_ONE = (
    "it has no address and requests one by DHCP or BOOTP: run such a server on this computer, or use the "
    "manufacturer's tool"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class IdentifyOrder:
    """How to search for the device: listen for `seconds`; with `ask` send `pace` ARP requests a second."""

    interface: str
    ask: bool
    seconds: float
    plan: Path | None
    permit: str
    pace: float
    link: str
    as_json: bool


def identify(order: IdentifyOrder) -> int:
    """Listen, send requests if the order says so, print the device; return 0 if one device has an address, else 1."""
    order = replace(order, interface=demand_interface(order.interface))
    kind = listening_kind(order.link)
    known = Known.by(order.plan)
    if order.ask:
        demand_no_planned_address(interfaces(), known.planned)
    answered, why = Answered({}, ()), ""
    with open_link(kind, order.interface, listens=True) as wire, Steps(round(order.seconds)) as bar:
        listener = Listener(frozenset({wire.adapters[0].mac}), EVERYWHERE)
        begin = wire.now()
        _say(
            f"listening on {order.interface}, up to {round(order.seconds)} s: plug the device in now, or switch it off "
            "and on"
        )

        def tick(passed: float) -> None:
            bar.at(round(passed), f"listening: {listener.frames} frames")

        try:
            why = hear(wire, listener, order.seconds, tick)
            if order.ask and not why and not listener.hosts:
                answered = _ask(wire, listener, known, order.permit, order.pace, bar, begin)
        except KeyboardInterrupt:
            why = "interrupted"
        spent = wire.now() - begin
        own = wire.adapters[0].addresses
    found = _findings(listener, answered, order.interface, spent, why, order.ask)
    reaches = _reaches(found, own, known)
    expected = _expected(found, own, known)
    if order.as_json:
        print(json.dumps(_shape(found, reaches, known), indent=2))
    else:
        print(_text(found, {**reaches, **expected}, known))
    if why == "interrupted":
        raise KeyboardInterrupt
    return 0 if len({host.mac for host in found.hosts}) == 1 and not found.has_faults else 1


def _say(words: str) -> None:
    print(words, file=sys.stderr, flush=True)


def _ask(wire: Link, listener: Listener, known: Known, permit: str, pace: float, bar: Any, begin: float) -> Answered:
    """Send ARP requests after the device's own address check must be over; several devices need a permit."""
    if len(listener.macs) > 1:
        _say(f"this is not a direct cable: {len(listener.macs)} devices were heard")
        permit_for(permit)
    if not wire.carrier():
        return Answered({}, (), "there is no carrier: is the cable plugged in and the device switched on?")
    receive(wire, listener, begin + SETTLED)
    if listener.hosts:
        return Answered({}, ())
    prefixes = list(prefixes_to_ask(Prefix.of(Address(4, first), length) for first, length in known.nets))
    minutes = sum(prefix.usable.size for prefix in prefixes) / pace / 60
    _say(f"nothing was heard: sending ARP requests to {len(prefixes)} prefixes, {minutes:.1f} minutes at most")
    own = frozenset(address for address, _ in wire.adapters[0].addresses)
    return ask(wire, prefixes, own, pace, lambda words, done, of: bar.at(done, words, of))


def _findings(
    listener: Listener, answered: Answered, interface: str, seconds: float, why: str, asked: bool
) -> Discovery:
    """Return the hosts that were heard or replied, with notes. *why* is the reason of an early end, or ""."""
    hosts = (*listener.found(), *hosts_of(answered.answers))
    ended = why or answered.why
    notes = [f"it ended early: {ended}"] if ended else []
    notes += [f"{quad(one.address)}: {mac_text(one.mac)} {one.by[0]}" for one in listener.wanted()[:20]]
    if answered.asked and not hosts:
        notes.append(f"no device answered in {listed(list(map(str, answered.asked)), 40)}")
    if not hosts and not ended:
        notes.append(_silent(listener, asked))
    heard = {host.mac for host in hosts}
    nameless = tuple(one for one in listener.nameless() if one.mac not in heard)
    return Discovery(
        interface=interface,
        day=today(),
        hosts=hosts,
        nameless=nameless,
        notes=(*notes, *listener.notes()),
        seconds=seconds,
        complete=not ended,
    )


def _silent(listener: Listener, asked: bool) -> str:
    """Return what to do if no address was heard."""
    if any(DHCP in how for how in listener.macs.values()):
        return WANTS_ONE
    say = NO_ADDRESS if listener.macs else SILENT
    return say("it may have no address yet" if asked else "or send requests for it, with --ask")


def _reaches(found: Discovery, own: tuple[tuple[int, int], ...], known: Known) -> dict[DiscoveredHost, Reach]:
    heard = {host.address for host in found.hosts}

    def taken(address: int) -> bool:
        return address in heard or bool(known.of_address(address))

    return {host: reach(host.address, own, known.nets, taken) for host in found.hosts}


def _expected(found: Discovery, own: tuple[tuple[int, int], ...], known: Known) -> dict[DiscoveredHost, Reach]:
    """Return how to reach the planned addresses of devices whose MAC was heard without an address."""
    planned = {host: known.planned_for(host.mac)[1] for host in found.nameless}
    by_plan = {host: replace(host, address=address) for host, address in planned.items() if address}
    reaches = _reaches(replace(found, hosts=tuple(by_plan.values())), own, known)
    return {host: reaches[at] for host, at in by_plan.items()}


def _shape(found: Discovery, reaches: dict[DiscoveredHost, Reach], known: Known) -> dict[str, Any]:
    """Return the object that `--format json` prints."""
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
        interface, address = known.planned_for(host.mac)
        entry["known_as"] = known.of(host) or None
        entry["planned"] = interface or None
        entry["planned_address"] = quad(address) if address else None
    return shape


def _text(found: Discovery, reaches: dict[DiscoveredHost, Reach], known: Known) -> str:
    width = terminal_width()
    lines = owners_twice(found)
    lines += [f"note: {safe(note, 1000)}" for note in found.notes]
    lines += [_words(host, to, found.interface, known) for host, to in list(reaches.items())[:8]]
    table = to_table(found, vendor_of(), known.of, width) or "no device was heard"
    return "\n".join([table, *(fill(line, width) if width else line for line in lines)])


def _words(host: DiscoveredHost, to: Reach, interface: str, known: Known) -> str:
    """Return the address to set on this computer, in words; if only the MAC was heard, first name the device."""
    who = f"to reach {quad(host.address)}"
    if not host.address:
        planned_for, planned = known.planned_for(host.mac)
        who = (
            f"{mac_text(host.mac)} is planned for {safe(planned_for)}, but sent no address; to try its "
            f"planned address {quad(planned)}"
        )
    if to.ours:
        return f"{who}: this computer already has {quad(to.address)}/{to.length} on {safe(interface)}"
    if not to.address:
        return f"{who}: no address is free next to it in a /{to.length}; survey its subnet first"
    mask = Mask.from_text(f"/{to.length}")
    guess = "; its mask is not known, a /24 is a guess" if to.guessed and to.length == 24 else ""
    return f"{who}: set {quad(to.address)}, mask {mask} (/{to.length}), on {safe(interface)}{guess}"
