"""One port's proof as a sequence: cable in, out, back; generators that the prober resumes at every look.

They look at what was asked and heard and at the bench's clock, say what to do, and set the fields of the case. No
verdict is taken here: `decided` asks the judge whether it is settled already, so that no cable is moved in vain.
This file holds the sequence and phase in; the others are in `silence` and `returning`.
"""

from __future__ import annotations

from collections.abc import Callable, Generator

from netcheck.proof.events import Action, What
from netcheck.proof.port.ask_settings import inquire
from netcheck.proof.port.observe import observe
from netcheck.proof.port.phase_back import phase_back, put_back, recover
from netcheck.proof.port.phase_out import Void, own_cable, pull_and_out
from netcheck.proof.port.state import WINDOW, PortState
from netcheck.proof.probing.address_state import EVER
from netcheck.proof.probing.scheduler import ARP_EVERY, ECHO_EVERY
from netcheck.proof.run_state import FRESH, Cut
from netcheck.proof.verdict.observation import Observation

ENOUGH_IN = 30.0  # seconds after which a lossy device's cable is asked for all the same; WINDOW where bursts were seen
HAND = 5.0  # seconds that a hand takes to the cable: in these a silence is looked for
READY_SILENCE = 30.0  # phase in goes on while it would take a longer silence to outlast the bursts seen
GONE = 10.0  # seconds of silence in phase in after which nobody need be asked for the cable: it is out, or it restarts
READY_MISSES = 20  # phase in goes on while phase out would need more misses than this
CONTROL_ASKS = 3  # questions to an address that nobody should own
CONTROL_WAIT = 1.5  # seconds for its answer: routers that answer for others take up to 0.6 s (measured)
SELF_CHECK = 10.0  # seconds in which a device that asks whether its address is free begins to use it (RFC 5227: 4 to 7)
Steps = Generator[None, None, None]
Claim = Callable[[], Steps]


def prove_port(case: PortState, decided: Callable[[Observation], bool], claim: Claim) -> Steps:
    """Take one port through its phases; afterwards `observe(case)` is the judge's. `claim` sees to it, whenever a
    cable came in, that there is an address to ask from."""
    try:
        yield from connect(case)
        yield from phase_in(case, claim)
        if case.mac is None:
            yield from inquire(case)  # of a device that is there and does not answer this station
        while case.mac is not None and case.back_from == EVER:
            try:
                yield from gather(case)
                if decided(observe(case)):
                    return
                yield from inquire(case)
                yield from pull_and_out(case)
                if case.out_from == EVER or case.stayed:
                    return
                if decided(observe(case)):
                    yield from put_back(case)
                    return
                yield from phase_back(case)
            except Void as void:
                yield from recover(case, str(void))
    except Cut as cut:
        case.cut, case.void = cut.why, cut.void
    finally:
        case.close()
        _ask_nothing(case)


def _ask_nothing(case: PortState) -> None:
    for line in (case.line, *case.beyond, *case.negatives):
        case.run.scheduler.want(line, case.run.now)


def connect(case: PortState) -> Steps:
    """Ask for the cable; with --direct, wait for the carrier."""
    run, where = case.run, case.target.subject
    run.enter()
    if case.target.ordinal and not run.settings.hands_free:
        case.ask(Action.MOVE, f"Move the cable to {where} and plug it in, then press Enter")
        while not (case.pressed() or run.settings.hands_free):
            yield
    elif run.settings.direct:
        case.ask(Action.CONNECT, f"Plug the cable into {where}")
    else:
        case.ask(Action.CONNECT, f"Plug in the cable of {where}")
    deadline = run.now + run.settings.patience
    while run.settings.direct and not run.carrier[0]:
        if run.settings.hands_free and run.now > deadline:
            break
        case.pressed()
        yield


def phase_in(case: PortState, claim: Claim) -> Steps:
    """Probe until answered or until the patience is used up; sets `mac` and `first`, or leaves them."""
    run = case.run
    deadline = yield from _begin(case, claim)
    while (found := case.first_answer(case.began)) is None:
        if run.drops != case.drops and run.carrier[0]:
            deadline = yield from _begin(case, claim)
        elif case.pressed():
            deadline = _wait_for_it(case)
        elif run.now > deadline and run.now > case.line.claimed + SELF_CHECK:
            yield from _nothing_answered(case)
            return
        yield
    case.mac, case.first = found
    case.line.follow(case.mac)
    case.first_after = case.first - case.began
    run.say(What.HEARD, case.target.subject, f"{case.target.address_text} answers", mac=case.mac)


def _begin(case: PortState, claim: Claim) -> Generator[None, None, float]:
    """Begin to ask, anew whenever the cable came in: what was heard before may belong to another end of it."""
    run = case.run
    case.drops, case.plugged = run.drops, run.linked
    yield from claim()
    case.began = run.now
    run.scheduler.want(case.line, run.now, arp=ARP_EVERY, echo=ECHO_EVERY, urgent=True)
    for line in case.beyond:
        run.scheduler.want(line, run.now, arp=ARP_EVERY, urgent=True)
    return _wait_for_it(case)


def _wait_for_it(case: PortState) -> float:
    until = case.run.now + case.run.settings.patience
    text = (
        f"Waiting for {case.target.address_text}; link-up, a switch port that starts forwarding and the device's own "
        "address check can take 45 s together"
    )
    case.say(What.WAIT, text, until)
    return until


def _nothing_answered(case: PortState) -> Steps:
    """Three ARP probes with sender 0: is it absent, or there and deaf to this station? (4-proof.md, Probes)"""
    run = case.run
    if not run.carrier[0] and not run.settings.direct:
        raise Cut("the station's own cable is out", void=True)
    if not run.scheduler.hears_all or not run.carrier[0]:
        return
    case.say(What.WAIT, "Nothing answered; a last round, asked without a sender address")
    run.scheduler.want(case.line, run.now)
    yield from _pause(case, ARP_EVERY)
    started = run.now
    for _ in range(3):
        run.scheduler.ask_anonymously(run.now, case.line)
        yield from _pause(case, ARP_EVERY)
    yield from _pause(case, 1.0)
    heard = [hearing.mac for hearing in case.line.heard(started) if hearing.asked is not None]
    case.anonymous = heard[0] if heard else None


def _pause(case: PortState, seconds: float) -> Steps:
    until = case.run.now + seconds
    while case.run.now < until:
        yield


def gather(case: PortState) -> Steps:
    """Go on until there is enough to say how reliably it answers, who else answers, and the watch has gone round."""
    run = case.run
    began = run.now
    case.say(What.WAIT, "Counting its answers", began + WINDOW)
    own = {address for way in run.scheduler.ways for address, _ in way.addresses}
    spare = tuple(address for address in run.scope.net(case.target.subnet).spare if address not in own)
    while not (_controls_asked(case, spare) and case.reliable() and _ready(case, run.now - began)):
        case.pressed()
        own_cable(case)
        if run.settings.direct and not run.carrier[0]:
            raise Void("the cable came out before it was asked for")
        silent = run.now - case.last_sign()
        if silent > 2 * GONE or (silent > GONE and case.fell()):
            raise Void(f"{case.target.address_text} fell silent before its cable was to be pulled")
        yield
    case.close_in(run.now)


def _ready(case: PortState, lasted: float) -> bool:
    """Phase out can be short, and there is a control for it or every watched address has had its turns; or phase in
    lasted long enough. Never while a burst of loss may be on, so that none is taken for the pull."""
    run = case.run
    if run.settings.direct:
        return True
    if not case.answers_now():
        return False
    bursts = case.bursts_until(run.now)
    if lasted > (WINDOW if bursts is not None else ENOUGH_IN):
        return True
    if case.misses_needed(READY_MISSES + 1) > READY_MISSES:
        return False
    if bursts is not None and bursts.outlasted(HAND, run.settings.luck) > READY_SILENCE:
        return False
    others, gateway = run.companions(case.target, run.now - FRESH, run.now)
    return bool(others or gateway) or all(line.asked >= 3 for line in run.watched.values())


def _controls_asked(case: PortState, spare: tuple[int, ...]) -> bool:
    """Ask the address that nobody should own; if somebody unknown answers, ask a second one."""
    run = case.run
    if not run.scheduler.hears_all:
        return True
    if case.negatives:
        line = case.negatives[-1]
        if sum(probe.settled and probe.sent >= case.began for probe in line.probes) < CONTROL_ASKS:
            return False
        run.scheduler.want(line, run.now)
        known = {*run.scope.site_macs, *(watched.mac for watched in run.watched.values())} - {case.mac}
        if not set(line.macs(case.began)) - known:
            return True
    if len(case.negatives) >= len(spare):
        return True
    line = run.scheduler.line(spare[len(case.negatives)], case.target.subnet)
    line.most_wait = CONTROL_WAIT
    case.negatives.append(line)
    run.scheduler.want(line, run.now, arp=ARP_EVERY, urgent=True)
    return False
