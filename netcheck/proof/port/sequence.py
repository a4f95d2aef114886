"""The sequence of one port: cable in, cable out, cable in again; a second pull if nobody confirms the first.

If the run must find mask and gateway (`--settings`), `ask_settings` does this between phase in and the pull.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import replace
from enum import Enum, auto

from netcheck.proof.events import What
from netcheck.proof.port.answers import JUST_NOW
from netcheck.proof.port.observe import observe
from netcheck.proof.port.phase_back import phase_back, put_back, recover, restore
from netcheck.proof.port.phase_in import Claim, connect, gather, phase_in
from netcheck.proof.port.phase_out import (
    TooSoon,
    WentOn,
    check_station,
    confirm_late,
    fell_instead,
    give_up,
    phase_out,
    pull,
    too_soon,
)
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER, ProbeKind
from netcheck.proof.probing.scheduler import WATCH_EVERY
from netcheck.proof.result import Tally
from netcheck.proof.run_state import Cut, Void
from netcheck.proof.settings.inquiry import Inquiry
from netcheck.proof.settings.model import SettingsFound, SettingsQuestion, differs, to_evidence, to_words
from netcheck.proof.verdict.observation import Observation
from netcheck.proof.verdict.silence_rule import ARP_EVERY, ECHO_EVERY, ON_TIME, Confirmed

AGAIN = 5  # pulls that end too soon or begin too late, before the port is given up
Steps = Generator[None, None, None]
LATE_PULL = (
    "It fell silent {:.0f} s after the request, so it could be a restart: stand at the cable when it is asked for"
)


class Ended(Enum):
    """What follows a pull: the verdict, the next pull, or a repetition because the silence began too late."""

    FINISHED = auto()
    COUNTED = auto()
    LATE = auto()


def prove_port(port: PortState, decided: Callable[[Observation], bool], claim: Claim) -> Steps:
    """Take one port through its phases; afterwards `observe(port)` is the judge's input.

    `decided` returns whether the verdict is certain already; then no cable is pulled in vain. `claim` is run each time
    a cable comes in: it makes sure that this computer has an address to send requests from.
    """
    try:
        yield from connect(port)
        yield from phase_in(port, claim)
        if port.mac is None:
            yield from ask_settings(port)  # the device may be connected and not answer this station
            return
        while True:
            try:
                yield from gather(port)
                if decided(observe(port)):
                    return
                yield from ask_settings(port)
                yield from _pulls(port, decided)
                if port.stayed:
                    yield from restore(port)
                return
            except Void as void:
                yield from recover(port, void)
    except Cut as cut:
        port.cut, port.void, port.skipped = cut.why, cut.void, cut.skipped
    finally:
        port.close()
        for entry in (port.entry, *port.beyond, *port.negatives):
            port.run.scheduler.ask(entry, port.run.now)


def _pulls(port: PortState, decided: Callable[[Observation], bool]) -> Steps:
    """Ask for pulls until enough of them count; repeat a pull that ended too soon or began too late."""
    warning, spoilt, in_vain = "", 0, EVER
    while spoilt < AGAIN:
        try:
            ended = yield from _one_pull(port, decided, warning)
        except WentOn:
            in_vain = min(in_vain, port.run.now)
            if fell_instead(port, 0.0) or port.run.now > in_vain + port.run.options.patience - ON_TIME:
                port.stayed = True
                return
            port.drop_pull()
            warning = f"{port.target.address_text} still answers: is it the right cable?"
            continue
        except TooSoon:
            spoilt += 1
            port.fell_before = True
            warning = f"{port.target.address_text} {too_soon(port.pull)}"
            port.drop_pull()
            yield from _answers_again(port)
            continue
        if ended is Ended.FINISHED:
            return
        warning = ""
        if ended is Ended.LATE and port.pull is not None:
            spoilt += 1
            port.fell_before = True
            warning = LATE_PULL.format(port.pull.after or 0.0)
            port.drop_pull()
    raise give_up(AGAIN)


def _answers_again(port: PortState) -> Steps:
    """Wait until the device answers, at most the patience: after a short pull it may still be checking its address."""
    since, until = port.run.now - JUST_NOW, port.run.now + port.run.options.patience
    while port.mac is not None and port.answer_of(port.mac, since) is None and port.run.now < until:
        check_station(port)
        yield


def _one_pull(port: PortState, decided: Callable[[Observation], bool], warning: str) -> Generator[None, None, Ended]:
    """Take one pull through the phases out and back; return what follows."""
    yield from pull(port, warning)
    one = port.pull
    if one is None or not one.out or port.stayed:
        return Ended.FINISHED
    late = one.late and not (yield from confirm_late(port))
    if not late:
        if not (yield from phase_out(port)):
            return Ended.FINISHED
        if decided(observe(port)):
            yield from put_back(port)
            return Ended.FINISHED
    last = not late and (port.is_last_pull() or not port.run.options.hands_free)
    if not (yield from phase_back(port, last=last)):
        return Ended.FINISHED
    if late:
        return Ended.LATE
    if one.confirmed is Confirmed.OPERATOR and not port.confirmed_return and port.latest is not None:
        port.latest = replace(port.latest, confirmed=Confirmed.REQUEST)  # the keyboard input ended before the Enter
    port.next_pull()
    asked = any(silence.confirmed is Confirmed.REQUEST for silence in port.silences)
    finished = not asked or port.requests_answered >= port.requests_needed
    return Ended.FINISHED if finished else Ended.COUNTED


PULLED = SettingsFound(mask_why="the cable came out", gateway_why="the cable came out")


def ask_settings(port: PortState) -> Steps:
    """Find mask and gateway once for each port, and keep them as evidence. Meanwhile the port is probed more slowly."""
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
    _keep_settings(port, inquiry.found or PULLED)


def _slow_echo(port: PortState) -> float | None:
    """Return the seconds between echo requests during the search for the settings.

    None if the device does not answer echo: echo requests could then make it ask its gateway for this station.
    """
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


def _keep_settings(port: PortState, found: SettingsFound) -> None:
    """Add the settings that were found to the evidence, and tell the operator."""
    net = port.run.scope.net(port.target.subnet)
    length = port.target.mask if port.target.mask is not None else net.length
    gateway = port.target.gateway if port.target.gateway is not None else net.gateway
    port.evidence.update(to_evidence(found, length, gateway))
    text = f"By its behaviour: {to_words(found, length, gateway)}"
    if differs(found, length, gateway):
        port.warn(text)
    else:
        port.say(What.NOTE, text)
