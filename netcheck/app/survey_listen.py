"""Listens for hosts on an interface, and prints and writes those that were heard."""

from __future__ import annotations

import sys
from pathlib import Path

from netcheck.addr import mac_text, quad
from netcheck.app.choices import demand_interface, demand_survey_file
from netcheck.app.progress import Steps
from netcheck.app.site_survey import Known, finish, listening_kind, today
from netcheck.field.discovery import Discovery
from netcheck.field.listen import Listener, listen
from netcheck.wire.links.open import open_link

PORTABLE = "the portable link receives ARP, DHCP and LLDP only, and no other IPv4"
LISTENING = "listening covers nothing: a host that stayed silent was not heard, and may have any address"


def listen_for_hosts(
    interface: str, seconds: float, out: Path | None, plan: Path | None, link: str, *, as_json: bool
) -> int:
    """Listen for a number of seconds, print the hosts, and return 1 where something needs attention, else 0."""
    interface = demand_interface(interface)
    demand_survey_file(out)
    known = Known.by(plan)
    with open_link(listening_kind(link), interface, listens=True) as wire, Steps(round(seconds)) as bar:
        adapter = wire.adapters[0]
        listener = Listener(frozenset({adapter.mac}), [*adapter.addresses, *known.nets])
        begin, why, interrupted = wire.now(), "", False
        print(f"listening on {interface} for {round(seconds)} s; Ctrl-C ends it earlier", file=sys.stderr, flush=True)

        def tick(passed: float) -> None:
            bar.at(round(passed), f"listening on {interface}: hosts {len(listener.hosts)}, frames {listener.frames}")

        try:
            why = listen(wire, listener, seconds, tick)
        except KeyboardInterrupt:
            interrupted = True
        lasted = wire.now() - begin
        notes = [PORTABLE] if wire.kind == "portable" else []
    found = _findings(listener, interface, lasted, "interrupted" if interrupted else why, notes)
    code = finish(found, known, out, as_json)
    if interrupted:
        raise KeyboardInterrupt
    return code


def _findings(listener: Listener, interface: str, seconds: float, why: str, more: list[str]) -> Discovery:
    notes = [LISTENING, *more, *([f"it ended early: {why}"] if why else [])]
    notes += listener.notes()
    notes += [f"{quad(one.address)}: {mac_text(one.mac)} {one.by[0]}" for one in listener.wanted()[:20]]
    return Discovery(
        interface=interface,
        day=today(),
        hosts=listener.found(),
        nameless=listener.nameless(),
        notes=tuple(notes),
        seconds=seconds,
        complete=not why,
    )
