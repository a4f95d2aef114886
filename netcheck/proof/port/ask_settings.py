"""Mask and gateway of the port under test, found between phase in and the pull, where the run is to find them."""

from __future__ import annotations

from collections.abc import Generator

from netcheck.proof.events import What
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER, ProbeKind
from netcheck.proof.probing.scheduler import WATCH_EVERY
from netcheck.proof.result import Tally
from netcheck.proof.settings.inquiry import Inquiry
from netcheck.proof.settings.model import SettingsFound, SettingsQuestion, differs, to_evidence, to_words
from netcheck.proof.verdict.silence_rule import ARP_EVERY, ECHO_EVERY

Steps = Generator[None, None, None]
PULLED = SettingsFound(mask_why="the cable came out", gateway_why="the cable came out")


def ask_settings(port: PortState) -> Steps:
    """Ask once; what is found becomes evidence of the port. Meanwhile the port is probed at a slower pace."""
    run, mac = port.run, port.anonymous if port.mac is None else port.mac
    if not run.options.typed or mac is None or "mask" in port.evidence:
        return
    port.say(What.WAIT, "Finding out its mask and gateway by what it asks for")
    inquiry = run.inquiry = Inquiry(_question(port, mac), run.rng)
    if port.mac is not None:
        run.scheduler.ask(port.entry, run.now, arp=ARP_EVERY, echo=_slow_echo(port), urgent=True)
    try:
        while inquiry.found is None and run.carrier[0]:
            if run.scheduler.allows(run.now, port.target.address):
                for frame in inquiry.turn(run.now):
                    run.scheduler.also(run.now, frame, port.target.address)
            port.pressed()
            yield
    finally:
        run.inquiry = None
        if port.mac is not None:
            run.scheduler.ask(port.entry, run.now, arp=ARP_EVERY, echo=ECHO_EVERY, urgent=True)
    _take(port, inquiry.found or PULLED)


def _slow_echo(port: PortState) -> float | None:
    """Return one echo a second; none to a device that leaves it unanswered, since it may then ask its gateway for this
    station's address."""
    return WATCH_EVERY if _tally(port, ProbeKind.ECHO).answered else None


def _tally(port: PortState, kind: ProbeKind) -> Tally:
    return port.entry.tally(kind, port.first, EVER, -1 if port.mac is None else port.mac)


def _question(port: PortState, mac: int) -> SettingsQuestion:
    run, target = port.run, port.target
    net = run.scope.net(target.subnet)
    senders = run.scheduler.senders
    ours = {address for adapter in run.scheduler.adapters for address, _ in adapter.addresses} | set(senders.values())
    best = max((_tally(port, kind) for kind in ProbeKind), key=lambda tally: tally.answered)
    return SettingsQuestion(
        address=target.address,
        mac=mac,
        station_mac=run.scheduler.adapters[0].mac,
        planned=target.mask if target.mask is not None else net.length,
        free=lambda address: run.scope.free(address) and address not in ours,
        station=senders.get((0, target.subnet)) if _tally(port, ProbeKind.ECHO).answered else None,
        ours=frozenset(ours),
        peers=frozenset(run.owner_of),
        probed=best.sent,
        answered=best.answered,
        overhears=run.options.overhears,
    )


def _take(port: PortState, found: SettingsFound) -> None:
    net = port.run.scope.net(port.target.subnet)
    length = port.target.mask if port.target.mask is not None else net.length
    gateway = port.target.gateway if port.target.gateway is not None else net.gateway
    port.evidence.update(to_evidence(found, length, gateway))
    words = f"By its behaviour: {to_words(found, length, gateway)}"
    if differs(found, length, gateway):
        port.warn(words)
    else:
        port.say(What.NOTE, words)
