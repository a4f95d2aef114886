"""The sequence of one port: cable in, out, in again; a second pull where nobody confirms the first."""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import replace
from enum import Enum, auto

from netcheck.proof.port.answers import JUST_NOW
from netcheck.proof.port.ask_settings import ask_settings
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
)
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER
from netcheck.proof.run_state import Cut, Void
from netcheck.proof.verdict.observation import Observation
from netcheck.proof.verdict.silence_rule import ON_TIME, Confirmed

AGAIN = 5  # pulls that may end too soon or begin too late
Steps = Generator[None, None, None]
LATE_PULL = (
    "It fell silent {:.0f} s after the request, so that it could be a restart: stand at the cable when it is asked for"
)


class Ended(Enum):
    """What follows a pull: the verdict, another pull, or the same once more since its silence began too late."""

    FINISHED = auto()
    COUNTED = auto()
    LATE = auto()


def prove_port(port: PortState, decided: Callable[[Observation], bool], claim: Claim) -> Steps:
    """Take one port through its phases; afterwards `observe(port)` is the judge's input. `decided` says whether the
    verdict is certain already, so that no cable is moved in vain. `claim` makes sure, whenever a cable came in, that
    there is an address to ask from."""
    try:
        yield from connect(port)
        yield from phase_in(port, claim)
        if port.mac is None:
            yield from ask_settings(port)  # of a device that is there and does not answer this station
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
            port.drop_pull()
            warning = f"{port.target.address_text} answers again too soon: leave the cable out until you are told"
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
    """Wait until the device answers, at most the patience: after a pull that was too short it may check its address."""
    since, until = port.run.now - JUST_NOW, port.run.now + port.run.options.patience
    while port.mac is not None and port.answer_of(port.mac, since) is None and port.run.now < until:
        check_station(port)
        yield


def _one_pull(port: PortState, decided: Callable[[Observation], bool], warning: str) -> Generator[None, None, Ended]:
    """Take one pull through phases out and back; say what follows."""
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
        port.latest = replace(port.latest, confirmed=Confirmed.REQUEST)  # the keyboard ended: nobody confirmed anything
    port.next_pull()
    asked = any(silence.confirmed is Confirmed.REQUEST for silence in port.silences)
    finished = not asked or port.requests_answered >= port.requests_needed
    return Ended.FINISHED if finished else Ended.COUNTED
