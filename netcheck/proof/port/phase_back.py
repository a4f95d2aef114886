"""Phase back: ask for the cable to be plugged in again, and check that the same device answers as it did before."""

from __future__ import annotations

from collections.abc import Generator

from netcheck.proof.events import Action, What
from netcheck.proof.port.controls import FellTogether, everything_fell, returned_together
from netcheck.proof.port.phase_out import TooSoon, check_station
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER, ProbeKind, Stage
from netcheck.proof.result import Phase
from netcheck.proof.run_state import Cut, Void
from netcheck.proof.verdict.observation import LEAST_ARP, SAME_TIME
from netcheck.proof.verdict.silence_rule import unheard
from netcheck.text import listed

LONGEST_BACK = 30.0  # seconds after the return to hear who else answers, and whether the device answers as before
RETURN_PATIENCE = 3  # hands-free, the run waits for a return for so many times the patience: a start can take minutes
CONTACTS = 5  # returns after which the device falls silent again, before the port is given up
TRIES = 3  # repetitions of void phases before the port is given up
LEISURE = 4.0  # seconds after a return until netcheck reminds of the missing Enter: common practice, no source
FASTEST_HAND = 0.3  # seconds that a person needs at least to act on a prompt (simple reaction time is 0.2 to 0.3 s)
UP_AGAIN, UP_MORE = 1.1, 0.5  # factor and seconds by which it must answer longer: restart cycles vary little
LONGEST_UP = 25.0  # seconds; the next request follows a return sooner than a device with a longer cycle restarts
DELAY = (0.5, 3.0)  # seconds from the return to the next request: random, so that the device cannot know it
COMPARED = SAME_TIME + 1.5  # seconds after a return within which others on the same cable answer as well
YIELDS = 6.0  # if two people pulled at the same moment, one of them waits so many seconds longer before the next pull
STEADY = 0.5  # seconds of answers on a walk before the second request, which has its own delay
Steps = Generator[None, None, None]


def phase_back(port: PortState, *, last: bool) -> Generator[None, None, bool]:
    """Ask for the cable to be plugged in again and wait until the same MAC answers as before; return whether it does.

    If `last`, the verdict follows; else the next pull follows after a random delay.
    """
    run, pull = port.run, port.pull
    assert pull is not None
    assert port.mac is not None
    pull.plug_at = run.now
    for _ in range(CONTACTS):
        port.set_stage(Stage.PLUGGING)
        pull.returned = EVER
        returned = yield from _wait_for_return(port, port.mac, pull.cable == "carrier")
        if returned is None:
            if not run.options.direct and not port.unconfirmed and everything_fell(port):
                raise Cut("everything fell silent while it was to come back", void=True)
            return False
        pull.returned = returned
        port.back_from = min(port.back_from, returned)
        port.returned(returned, Stage.BACK)
        port.say(What.RETURNED, f"{port.target.address_text} answers again")
        if (yield from _answers_on(port, last)):
            return True
        if run.now > returned + LONGEST_BACK:
            return False
        port.warn(f"{port.target.address_text} stopped answering again: is the plug firmly in?")
        pull.plug_at = run.now
        port.away.append([port.last_sign(), EVER])
    return False


def _wait_for_return(port: PortState, mac: int, carrier: bool) -> Generator[None, None, float | None]:
    """Return the send time of the first probe that is answered after the return; None if the device does not return.

    With keys, answers count from Enter on, and there is no deadline. Hands-free, an answer counts if a person can have
    plugged the cable in by then; the wait ends after three times the patience. On a direct cable the carrier shows that
    the cable is in. Raises TooSoon if the device answers sooner than a person can plug the cable in.
    """
    run, pull, options = port.run, port.pull, port.run.options
    assert pull is not None
    since = run.now
    run.take_enter()
    port.confirmed_return = False
    keyed = not options.hands_free and not carrier
    where = port.target.subject
    text = f"Plug the cable of {where} in again" + (", then press Enter" if keyed else "")
    deadline = run.now + RETURN_PATIENCE * options.patience
    port.ask(Action.PLUG, text, deadline if options.hands_free else None)
    confirmed: float | None = None
    while True:
        keyed = not run.options.hands_free and not carrier
        check_station(port)
        answered = port.answer_of(mac, since if confirmed is None or not keyed else confirmed)
        if answered is not None and not carrier and port.heard_before(mac, since, since + FASTEST_HAND):
            raise TooSoon
        if answered is not None and (not keyed or confirmed is not None):
            return answered
        if port.pressed() and keyed and confirmed is None:
            confirmed = run.now
            port.confirmed_return = True
            port.say(What.WAIT, f"Waiting for {port.target.address_text} to answer again")
        if answered is not None and confirmed is None and run.now > answered + LEISURE:
            port.warn(f"{port.target.address_text} answers again: press Enter if its cable is plugged in", holds=True)
            if run.now > answered + options.patience:
                port.unconfirmed = port.stayed = True
                return None
        if run.options.hands_free and run.now > deadline:
            return None
        yield


def _answers_on(port: PortState, last: bool) -> Generator[None, None, bool]:
    """Wait until it is certain that the device answers as before; return False if it falls silent again."""
    run, pull = port.run, port.pull
    assert pull is not None
    assert port.mac is not None
    enough = run.now + (STEADY if port.requests_at_least == 1 else run.rng.uniform(*DELAY))
    while run.now < pull.returned + LONGEST_BACK:
        port.pressed()
        check_station(port)
        if port.entry.fallen(port.mac, pull.returned, 1e-3, 3):
            port.unrequested += 1
            return False
        settled = _heard_enough(port) and run.now > _outlasts(port) if last else run.now >= enough
        if settled and port.answers_at_rate() and port.answers_still():
            port.steady = True
            return True
        yield
    return last and _heard_enough(port) and port.answers_at_rate() and port.answers_still()


def _outlasts(port: PortState) -> float:
    """Return the time until which the device must answer to exclude a cycle of restarts; 0 if there is no such time.

    It must answer for longer than it did between its last two silences: a device that restarts in a loop is up for
    about the same time in each cycle.
    """
    if len(port.away) < 2 or port.run.options.once:
        return 0.0
    (_, returned), (silent, back) = port.away[-2:]
    return back + min(UP_AGAIN * (silent - returned) + UP_MORE, LONGEST_UP)


def _heard_enough(port: PortState) -> bool:
    """Return whether enough broadcast requests were sent to hear a second owner."""
    assert port.mac is not None
    assert port.pull is not None
    if not port.run.scheduler.hears_all:
        tally = port.entry.tally(ProbeKind.ECHO, port.pull.returned, EVER, port.mac)
        return tally.sent >= LEAST_ARP[Phase.BACK]
    back = port.entry.tally(ProbeKind.ARP, port.pull.returned, EVER, port.mac).sent
    before = sum(result.arp.sent for result in port.results.values())
    return back >= LEAST_ARP[Phase.BACK] and unheard(before + back) <= port.run.options.unheard


def put_back(port: PortState) -> Steps:
    """Ask for the cable to be plugged in again when the verdict stands already; wait at most the patience.

    If others fell silent together with the port, record which of them return together with it.
    """
    run = port.run
    assert port.mac is not None
    port.close()
    run.take_enter()
    since = run.now
    port.ask(Action.PLUG, f"Plug the cable of {port.target.subject} in again", since + run.options.patience)
    while (returned := port.answer_of(port.mac, since)) is None and not port.pressed():
        if run.now > since + run.options.patience:
            return
        yield
    while port.together and returned is not None and run.now < returned + COMPARED:
        yield
    again = returned_together(port, port.together, since)
    port.chained_twice = tuple(run.label(entry) for entry in again if entry in port.chained)


def restore(port: PortState) -> Steps:
    """Ask for the wrong cable back after others fell silent instead of the port, so that they can be proven.

    Wait until they answer, at most the patience.
    """
    run, pull = port.run, port.pull
    silent = [] if pull is None else [entry for entry in pull.living if run.fell(entry)]
    if not silent:
        return
    port.close()
    since = run.now
    names = listed([run.label(entry) for entry in silent])
    text = f"Plug the cable that was pulled in again: {names} is silent"
    port.ask(Action.RESTORE, text, since + run.options.patience)
    while not all(entry.answered_between(since) for entry in silent) and run.now < since + run.options.patience:
        yield


def recover(port: PortState, void: Void) -> Steps:
    """Wait until the port and its controls answer again, so that the phases can be repeated.

    Raises Cut if they do not answer within the patience, or if the phases were repeated too often.
    """
    run, why = port.run, str(void)
    assert port.mac is not None
    port.voids += 1
    moved = port.pull is not None or why != run.disturbance  # a disturbance before the pull moves no cable
    controls = [] if port.pull is None else port.pull.all_controls
    port.start_over()
    port.set_stage(Stage.IN)
    since, deadline = run.now, run.now + run.options.patience
    if moved:
        cable = f"Plug the cable of {port.target.subject} in again, and every other cable that is out"
        port.ask(Action.RESTORE, f"{cable}; the phase is repeated", deadline)
    port.warn(f"This does not count: {why}")
    while not (run.carrier[0] and port.answer_of(port.mac, since) and all(c.answered_between(since) for c in controls)):
        if run.now > deadline or port.voids > TRIES:
            raise Cut(f"{why}, and it could not be repeated", void=True)
        port.pressed()
        yield
    if isinstance(void, FellTogether):
        yield from _take_turns(port, void, since)
    port.drops, port.disturbances = run.drops, run.disturbances
    port.first = port.answer_of(port.mac, since) or run.now


def _take_turns(port: PortState, void: FellTogether, since: float) -> Steps:
    """Record which of the others returned together with the port, and wait before the phase is repeated.

    Two people may have pulled cables at the same moment. The run whose port fell silent first waits longer, so that
    they do not do it again.
    """
    run = port.run
    until = run.now + COMPARED + (YIELDS if void.first else 0.0) + run.rng.uniform(*DELAY)
    compared = run.now + COMPARED
    while run.now < compared:
        yield
    port.chained |= set(returned_together(port, void.entries, since))
    while run.now < until:
        yield
