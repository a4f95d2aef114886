"""Mask and gateway of the port under test, asked between phase in and the pull, where the run is to find them out."""

from __future__ import annotations

from collections.abc import Generator

from netcheck.proof.events import What
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER, ProbeKind
from netcheck.proof.probing.scheduler import ARP_EVERY, ECHO_EVERY, WATCH_EVERY
from netcheck.proof.result import Tally
from netcheck.proof.settings.findings import SettingsFound, differs, to_evidence, to_words
from netcheck.proof.settings.inquiry import Inquiry
from netcheck.proof.settings.trial import SettingsQuestion

Steps = Generator[None, None, None]
PULLED = SettingsFound(mask_why="the cable came out", gateway_why="the cable came out")


def inquire(case: PortState) -> Steps:
    """Ask once; what is found becomes the case's evidence. Meanwhile the port is probed at an easier pace."""
    run, mac = case.run, case.anonymous if case.mac is None else case.mac
    if not run.settings.typed or mac is None or "mask" in case.evidence:
        return
    case.say(What.WAIT, "Finding out its mask and gateway by what it asks for")
    inquiry = run.inquiry = Inquiry(_question(case, mac), run.rng)
    if case.mac is not None:
        run.scheduler.want(case.line, run.now, arp=ARP_EVERY, echo=_slow_echo(case), urgent=True)
    try:
        while inquiry.found is None and run.carrier[0]:
            if run.scheduler.allows(run.now, case.target.address):
                for frame in inquiry.turn(run.now):
                    run.scheduler.also(run.now, frame, case.target.address)
            case.pressed()
            yield
    finally:
        run.inquiry = None
        if case.mac is not None:
            run.scheduler.want(case.line, run.now, arp=ARP_EVERY, echo=ECHO_EVERY, urgent=True)
    _take(case, inquiry.found or PULLED)


def _slow_echo(case: PortState) -> float | None:
    """Echo once a second; none to a device that leaves it unanswered, since it may ask its gateway for our address."""
    return WATCH_EVERY if _tally(case, ProbeKind.ECHO).answered else None


def _tally(case: PortState, kind: ProbeKind) -> Tally:
    return case.line.tally(kind, case.first, EVER, -1 if case.mac is None else case.mac)


def _question(case: PortState, mac: int) -> SettingsQuestion:
    run, target = case.run, case.target
    net = run.scope.net(target.subnet)
    ours = {address for way in run.scheduler.ways for address, _ in way.addresses} | set(run.scheduler.senders.values())
    best = max((_tally(case, kind) for kind in ProbeKind), key=lambda tally: tally.answered)
    return SettingsQuestion(
        address=target.address,
        mac=mac,
        station_mac=run.scheduler.ways[0].mac,
        planned=target.mask if target.mask is not None else net.length,
        free=lambda address: run.scope.free(address) and address not in ours,
        station=run.scheduler.senders.get((0, target.subnet)) if _tally(case, ProbeKind.ECHO).answered else None,
        ours=frozenset(ours),
        peers=frozenset(run.owner_of),
        probed=best.sent,
        answered=best.answered,
        overhears=run.settings.overhears,
    )


def _take(case: PortState, found: SettingsFound) -> None:
    net = case.run.scope.net(case.target.subnet)
    length = case.target.mask if case.target.mask is not None else net.length
    gateway = case.target.gateway if case.target.gateway is not None else net.gateway
    case.evidence.update(to_evidence(found, length, gateway))
    words = f"By its behaviour: {to_words(found, length, gateway)}"
    if differs(found, length, gateway):
        case.warn(words)
    else:
        case.say(What.NOTE, words)
