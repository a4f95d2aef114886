"""Phase in: ask for the cable, wait for the first answer, and measure how reliably the device answers.

Like every phase it is a generator that the prober resumes at every step. It reads the probes, their answers and the
clock of the run, emits instructions, and sets the fields of the port's state. It reaches no verdict.
"""

from __future__ import annotations

from collections.abc import Callable, Generator

from netcheck.proof.events import Action, What
from netcheck.proof.port.answers import GAP, WINDOW
from netcheck.proof.port.cabling import move_text
from netcheck.proof.port.connector import move
from netcheck.proof.port.phase_out import check_station
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import ARP, Stage
from netcheck.proof.run_state import FRESH, Cut, Void
from netcheck.proof.verdict.silence_rule import ARP_EVERY, ECHO_EVERY

ENOUGH_IN = 30.0  # seconds after which the cable is asked for even if the device loses answers
BURST = 1.5  # seconds between two answers from which on losses count as bursts: then phase in lasts twice ENOUGH_IN
GONE = 10.0  # seconds of silence after which phase in is void: the cable is out, or the device restarts
READY_MISSES = 20  # phase in goes on while phase out would need more misses than this
NEGATIVE_ASKS = 3  # requests to an address that nobody should own
NEGATIVE_WAIT = 1.5  # seconds for a reply from it: routers that answer for others take up to 0.6 s (measured)
SELF_CHECK = 10.0  # seconds within which a device that checks its address begins to use it (RFC 5227: 4 to 7)
Steps = Generator[None, None, None]
Claim = Callable[[], Steps]


def connect(port: PortState) -> Steps:
    """Ask for the cable to be plugged in; with --direct, wait for the carrier.

    Do not ask if the port had a head start and answers: its cable is in.
    """
    run, where = port.run, port.target.subject
    run.take_enter()
    if port.head_start:
        if (yield from _answers_on(port)):
            return
        port.head_start = 0.0
    if (port.target.ordinal or run.moved is not None) and not run.options.hands_free:
        yield from move(port, move_text(run, port.target))
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
    """Wait for an answer to a request that was sent in the port's own turn; return whether it came."""
    since = port.run.now
    while port.run.now <= since + GAP:
        found = port.first_answer(port.began)
        if found is not None and port.answer_of(found[0], since) is not None:
            return True
        yield
    return False


def phase_in(port: PortState, claim: Claim) -> Steps:
    """Probe until the address answers or the patience ends. Set `mac` and `first` if it answers.

    With a head start it has answered already.
    """
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
    """Begin the requests; return the deadline for the first answer.

    This is repeated whenever the cable comes in: earlier answers may come from another connector.
    """
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
    """Send three ARP probes with sender 0: a device that does not answer this station may answer these."""
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
    """Probe until it is known how reliably the device answers and who else answers, and every address was watched."""
    run = port.run
    began = port.first if port.head_start and not port.voids else run.now
    port.say(What.WAIT, "Counting its answers", began + ENOUGH_IN)
    while not (ask_negatives(port) and port.reliable() and _ready(port, run.now - began)):
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
    """Return whether the cable can be asked for.

    It can if phase out will be short and either a control exists or every watched address was asked, or if phase in
    lasted long enough. It is never asked for while answers are being lost, since a burst of loss looks like a pull.
    """
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


def ask_negatives(port: PortState) -> bool:
    """Send requests to an address that nobody should own, and to a second one if an unknown MAC answers.

    Return whether all of them are done.
    """
    run = port.run
    if not run.scheduler.hears_all:
        return True
    if port.negatives:
        entry = port.negatives[-1]
        if sum(probe.settled and probe.sent >= port.began for probe in entry.probes) < NEGATIVE_ASKS:
            if entry.every[ARP] is None:  # the last port used this address too, and stopped its requests when it ended
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
    entry.most_wait = NEGATIVE_WAIT
    port.negatives.append(entry)
    run.scheduler.ask(entry, run.now, arp=ARP_EVERY, urgent=True)
    return False
