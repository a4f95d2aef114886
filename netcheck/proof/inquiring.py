"""Mask and gateway of the port under test, asked between phase in and the pull, where the run is to find them out."""

from __future__ import annotations

from collections.abc import Generator

from netcheck.proof.asking import ARP_EVERY, ECHO_EVERY, WATCH_EVERY
from netcheck.proof.case import Case
from netcheck.proof.events import What
from netcheck.proof.lines import EVER, Kind
from netcheck.proof.result import Tally
from netcheck.proof.settings import Inquiry
from netcheck.proof.trial import Question
from netcheck.proof.typed import Typed, differs, to_evidence, to_words

Steps = Generator[None, None, None]
PULLED = Typed(mask_why="the cable came out", gateway_why="the cable came out")


def inquire(case: Case) -> Steps:
    """Ask once; what is found becomes the case's evidence. Meanwhile the port is probed at an easier pace."""
    bench, mac = case.bench, case.anonymous if case.mac is None else case.mac
    if not bench.settings.typed or mac is None or "mask" in case.evidence:
        return
    case.say(What.WAIT, "Finding out its mask and gateway by what it asks for")
    inquiry = bench.inquiry = Inquiry(_question(case, mac), bench.rng)
    if case.mac is not None:
        bench.asker.want(case.line, bench.now, arp=ARP_EVERY, echo=_slow_echo(case), urgent=True)
    try:
        while inquiry.found is None and bench.carrier[0]:
            if bench.asker.allows(bench.now, case.target.address):
                for frame in inquiry.turn(bench.now):
                    bench.asker.also(bench.now, frame, case.target.address)
            case.pressed()
            yield
    finally:
        bench.inquiry = None
        if case.mac is not None:
            bench.asker.want(case.line, bench.now, arp=ARP_EVERY, echo=ECHO_EVERY, urgent=True)
    _take(case, inquiry.found or PULLED)


def _slow_echo(case: Case) -> float | None:
    """Echo once a second; none to a device that leaves it unanswered, since it may ask its gateway for our address."""
    return WATCH_EVERY if _tally(case, Kind.ECHO).answered else None


def _tally(case: Case, kind: Kind) -> Tally:
    return case.line.tally(kind, case.first, EVER, -1 if case.mac is None else case.mac)


def _question(case: Case, mac: int) -> Question:
    bench, target = case.bench, case.target
    net = bench.aim.net(target.subnet)
    ours = {address for way in bench.asker.ways for address, _ in way.addresses} | set(bench.asker.senders.values())
    best = max((_tally(case, kind) for kind in Kind), key=lambda tally: tally.answered)
    return Question(
        address=target.address,
        mac=mac,
        station_mac=bench.asker.ways[0].mac,
        planned=target.mask if target.mask is not None else net.length,
        free=lambda address: bench.aim.free(address) and address not in ours,
        station=bench.asker.senders.get((0, target.subnet)) if _tally(case, Kind.ECHO).answered else None,
        ours=frozenset(ours),
        peers=frozenset(bench.owner_of),
        probed=best.sent,
        answered=best.answered,
        overhears=bench.settings.overhears,
    )


def _take(case: Case, found: Typed) -> None:
    net = case.bench.aim.net(case.target.subnet)
    length = case.target.mask if case.target.mask is not None else net.length
    gateway = case.target.gateway if case.target.gateway is not None else net.gateway
    case.evidence.update(to_evidence(found, length, gateway))
    words = f"By its behaviour: {to_words(found, length, gateway)}"
    if differs(found, length, gateway):
        case.warn(words)
    else:
        case.say(What.NOTE, words)
