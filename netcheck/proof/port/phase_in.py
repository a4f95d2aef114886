"""Phase in: ask for the cable, wait for the first answer, and count how reliably the device answers.

Like the other phases it is a generator that the prober resumes at every look. It reads what was asked and heard and the
run's clock, says what to do, and sets the fields of the port's state. No verdict is taken here.
"""

from __future__ import annotations

from collections.abc import Callable, Generator

from netcheck.proof.events import Action, What
from netcheck.proof.port.answers import GAP, WINDOW
from netcheck.proof.port.cabling import words_to_move
from netcheck.proof.port.connector import move
from netcheck.proof.port.phase_out import check_station
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import ARP, Stage
from netcheck.proof.run_state import FRESH, Cut, Void
from netcheck.proof.verdict.silence_rule import ARP_EVERY, ECHO_EVERY

ENOUGH_IN = 30.0  # seconds after which the cable of a lossy device is asked for all the same
BURST = 1.5  # seconds between two answers from which on losses come in bursts: then phase in lasts ENOUGH_IN
GONE = 10.0  # seconds of silence after which the cable is not asked for: it is out, or the device restarts
READY_MISSES = 20  # phase in goes on while phase out would need more misses than this
CONTROL_ASKS = 3  # requests to an address that nobody should own
CONTROL_WAIT = 1.5  # seconds for its reply: routers that answer for others take up to 0.6 s (measured)
SELF_CHECK = 10.0  # seconds in which a device that checks its address begins to use it (RFC 5227: 4 to 7)
Steps = Generator[None, None, None]
Claim = Callable[[], Steps]


def connect(port: PortState) -> Steps:
    """Ask for the cable; with --direct, wait for the carrier. The cable of a port that had a head start is in."""
    run, where = port.run, port.target.subject
    run.take_enter()
    if port.head_start:
        if (yield from _answers_on(port)):
            return
        port.head_start = 0.0
    if (port.target.ordinal or run.moved is not None) and not run.options.hands_free:
        yield from move(port, words_to_move(run, port.target))
        run.moved = port.target if port.target.ordinal and not run.options.direct else None
    elif run.options.direct:
        port.ask(Action.CONNECT, f"Plug the cable into {where}")
    else:
        port.ask(Action.CONNECT, f"Plug in the cable of {where}")
    deadline = run.now + run.options.patience
    while run.options.direct and not run.carrier[0]:
        if run.options.hands_free and run.now > deadline:
            break
        port.pressed()
        yield


def _answers_on(port: PortState) -> Generator[None, None, bool]:
    """Wait for an answer to a request of the port's own turn; return whether it came."""
    since = port.run.now
    while port.run.now <= since + GAP:
        found = port.first_answer(port.began)
        if found is not None and port.answer_of(found[0], since) is not None:
            return True
        yield
    return False


def phase_in(port: PortState, claim: Claim) -> Steps:
    """Probe until the address answers or the patience is used up; sets `mac` and `first`, or leaves them unset. With a
    head start it has answered already."""
    run = port.run
    deadline = run.now + run.options.patience if port.head_start else (yield from _begin(port, claim))
    while (found := port.first_answer(port.began)) is None:
        if (run.drops != port.drops and run.carrier[0]) or run.disturbances != port.disturbances:
            deadline = yield from _begin(port, claim)
        elif port.pressed():
            deadline = _wait_for_it(port)
        elif run.now > deadline and run.now > port.entry.claimed + SELF_CHECK:
            yield from _nothing_answered(port)
            return
        yield
    port.mac, port.first = found
    port.entry.follow(port.mac)
    port.first_after = port.first - port.began
    run.say(What.HEARD, port.target.subject, f"{port.target.address_text} answers", mac=port.mac)


def _begin(port: PortState, claim: Claim) -> Generator[None, None, float]:
    """Begin to ask, again whenever the cable came in: what was heard before may belong to another end of it."""
    run = port.run
    port.drops, port.disturbances, port.plugged = run.drops, run.disturbances, run.linked
    yield from claim()
    port.began = run.now
    port.set_stage(Stage.IN)
    run.scheduler.ask(port.entry, run.now, arp=ARP_EVERY, echo=ECHO_EVERY, urgent=True)
    for entry in port.beyond:
        run.scheduler.ask(entry, run.now, arp=ARP_EVERY, urgent=True)
    return _wait_for_it(port)


def _wait_for_it(port: PortState) -> float:
    until = port.run.now + port.run.options.patience
    text = (
        f"Waiting for {port.target.address_text}. Link-up, a switch port that starts forwarding and the device's own "
        "address check can take 45 s together"
    )
    port.say(What.WAIT, text, until)
    return until


def _nothing_answered(port: PortState) -> Steps:
    """Send three ARP probes with sender 0: they tell an absent device from one that does not answer this station."""
    run = port.run
    if not run.carrier[0] and not run.options.direct:
        raise Cut("the station's own cable is out", void=True)
    if not run.scheduler.hears_all or not run.carrier[0]:
        return
    port.say(What.WAIT, "Nothing answered. A last round is sent without a sender address")
    run.scheduler.ask(port.entry, run.now)
    yield from _pause(port, ARP_EVERY)
    started = run.now
    for _ in range(3):
        run.scheduler.ask_anonymously(run.now, port.entry)
        yield from _pause(port, ARP_EVERY)
    yield from _pause(port, 1.0)
    heard = [sighting.mac for sighting in port.entry.heard(started) if sighting.asked is not None]
    port.anonymous = heard[0] if heard else None


def _pause(port: PortState, seconds: float) -> Steps:
    until = port.run.now + seconds
    while port.run.now < until:
        yield


def gather(port: PortState) -> Steps:
    """Go on until it is known how reliably it answers and who else answers, and the watch has asked every address."""
    run = port.run
    began = port.first if port.head_start and not port.voids else run.now
    port.say(What.WAIT, "Counting its answers", began + ENOUGH_IN)
    while not (controls_asked(port) and port.reliable() and _ready(port, run.now - began)):
        port.pressed()
        check_station(port)
        if run.options.direct and not run.carrier[0]:
            raise Void("the cable came out before it was asked for")
        port.note_gap()
        silent = run.now - port.last_sign()
        if silent > 2 * GONE or (silent > GONE and port.fell()):
            raise Void(f"{port.target.address_text} fell silent before its cable was to be pulled")
        yield
    port.close_in(run.now)


def _ready(port: PortState, lasted: float) -> bool:
    """Phase out can be short, and there is a control for it or every watched address was asked; or phase in lasted long
    enough. Never while answers are being lost, so that no burst of loss is taken for the pull."""
    run = port.run
    if run.options.direct:
        return True
    if not port.answers_just_now():
        return False
    bursts = port.longest_gap(run.now) > BURST
    if lasted > (min(2 * ENOUGH_IN, WINDOW) if bursts else ENOUGH_IN):
        return True
    if bursts or port.misses_needed(READY_MISSES + 1) > READY_MISSES:
        return False
    others, gateway = run.companions(port.target, run.now - FRESH, run.now)
    return bool(others or gateway) or all(entry.asked >= 3 for entry in run.watched.values())


def controls_asked(port: PortState) -> bool:
    """Ask the address that nobody should own; where an unknown MAC answers, ask a second one. Return whether all this
    is done."""
    run = port.run
    if not run.scheduler.hears_all:
        return True
    if port.negatives:
        entry = port.negatives[-1]
        if sum(probe.settled and probe.sent >= port.began for probe in entry.probes) < CONTROL_ASKS:
            if entry.every[ARP] is None:  # the port before this one asked it as well, and ended
                run.scheduler.ask(entry, run.now, arp=ARP_EVERY, urgent=True)
            return False
        run.scheduler.ask(entry, run.now)
        known = {*run.scope.site_macs, *(watched.mac for watched in run.watched.values())} - {port.mac}
        if not set(entry.macs(port.began)) - known:
            return True
    own = {address for adapter in run.scheduler.adapters for address, _ in adapter.addresses}
    spare = [address for address in run.scope.net(port.target.subnet).spare if address not in own]
    if len(port.negatives) >= len(spare):
        return True
    entry = run.scheduler.entry(spare[len(port.negatives)], port.target.subnet)
    entry.most_wait = CONTROL_WAIT
    port.negatives.append(entry)
    run.scheduler.ask(entry, run.now, arp=ARP_EVERY, urgent=True)
    return False
