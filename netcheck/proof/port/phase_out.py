"""Phase out: ask for the pull, find out when the cable is out, and check that nothing answers meanwhile."""

from __future__ import annotations

from collections.abc import Generator

from netcheck.proof.events import Action, What
from netcheck.proof.port.controls import (
    check_controls,
    choose_controls,
    counted_controls,
    everything_fell,
    fallen_together,
    to_repeat,
    trusted,
)
from netcheck.proof.port.pull import Pull
from netcheck.proof.port.state import LOST, PortState
from netcheck.proof.probing.address_state import EVER, Stage
from netcheck.proof.run_state import Cut, Void
from netcheck.proof.verdict.observation import SAME_TIME
from netcheck.proof.verdict.silence_rule import ARP_EVERY, ON_TIME
from netcheck.proof.view import seconds_to_hold
from netcheck.text import listed

DOUBT = 6.0  # seconds that a control may take to answer before it counts as silent
SWAP_ENDS = 30.0  # if another address is silent for so many seconds and this one answers, the port is swapped
LONGEST_OUT = 120.0  # seconds after which phase out ends even if the silence is not evidence
ESTABLISHED = 2.0  # seconds of silence after which requests without a sender address are sent: the device hears none
ANONYMOUS = 8  # requests without a sender address for each port, at most
Steps = Generator[None, None, None]


class TooSoon(Exception):
    """Raised if the address answers again before its cable was asked back, or before a hand can have plugged it in."""


def too_soon(pull: Pull | None) -> str:
    """Return what the technician did, and what to do at the next pull; `pull` is the one that does not count."""
    if pull is not None and pull.plug_at < EVER:
        return "answered in the same moment as the request to plug in: leave the cable out until you have read it"
    return "answers again too soon: leave the cable out until you are told"


class Disturbed(Void):
    """Raised if this computer did not run or lost its link. What was counted before does not count."""


class WentOn(Exception):
    """Raised if the operator confirms the pull and the address goes on answering."""


def pull(port: PortState, warning: str = "") -> Steps:
    """Ask for the pull and wait until the cable is out.

    Set `stayed` if the address does not fall silent. Do not begin phase out if a second owner answers.
    """
    run = port.run
    run.take_enter()
    port.pull = Pull(run.now)
    port.set_stage(Stage.PULLING)
    choose_controls(port)
    port.pull.living = port.pull.controls
    deadline = run.now + run.options.patience
    again = " once more" if port.silences else ""
    text = f"Pull the cable of {port.target.subject}{again}"
    port.ask(Action.PULL, text, deadline if run.options.hands_free else None)
    if warning:
        port.warn(warning)
    while not _out(port, port.pull):
        check_station(port)
        if port.second_owner():
            port.warn(f"Two devices answer for {port.target.address_text}")
            if not port.silences:
                port.close_in(run.now)
            return None
        if (run.options.hands_free and run.now > deadline) or fell_instead(port, SWAP_ENDS):
            port.stayed = True
            return None
        _warn_of_others(port)
        yield
    return say_silent(port)


def say_silent(port: PortState, question: str = "") -> None:
    """Say that the port is silent and how many seconds its cable must stay out; *question* is added to the text."""
    left = seconds_to_hold(port)
    text = f"{port.target.subject} is out: leave its cable out, about {left:.0f} s more{question}"
    port.say(What.SILENT, text, port.run.now + left)


def _out(port: PortState, pull: Pull) -> bool:
    """Begin phase out if the carrier, Enter or a silence shows that the cable is out; return whether it began."""
    run = port.run
    assert pull.requested is not None
    if run.options.direct and not run.carrier[0] and not run.gone:
        port.open_out("carrier")
    elif port.pressed():
        port.open_out("operator")
    elif port.fell() and port.newest_sign(run.now - ARP_EVERY) is None:
        last = port.last_sign()
        if last < pull.requested - max(ARP_EVERY, 3 * port.entry.longest_gap(port.first, last, port.mac or 0)):
            port.unrequested += 1
            raise Void(f"{port.target.address_text} fell silent before its cable was to be pulled")
        port.open_out("inferred")
    return pull.out


def _warn_of_others(port: PortState) -> None:
    """Record which others fall silent while the port under test goes on answering, and warn of them once."""
    assert port.pull is not None
    instead = tuple(port.run.label(entry) for entry in port.pull.living if port.run.fell(entry))
    if instead:
        keyed = not port.run.options.hands_free and port.pull.entered_at is None
        confirm = "; if it is the right cable, press Enter" if keyed else ""
        text = (
            f"{listed(list(instead))} fell silent instead: the wrong cable, or their addresses are swapped. Put it "
            f"back and pull the cable of {port.target.subject}{confirm}"
        )
        port.run.warn(port.target.subject, text, holds=True, silently=set(instead) <= set(port.instead))
    port.instead = tuple(dict.fromkeys((*port.instead, *instead)))


def fell_instead(port: PortState, seconds: float) -> bool:
    """Return whether another address fell silent after this cable was asked for, while this port goes on answering.

    It must have been silent for *seconds*.
    """
    run, pull = port.run, port.pull
    assert pull is not None
    asked = pull.requested or 0.0
    return port.answers_just_now() and any(
        asked - SAME_TIME <= entry.answered[-1] < run.now - seconds and run.fell(entry, LOST, 3)
        for entry in pull.living
        if entry.answered
    )


def phase_out(port: PortState) -> Generator[None, None, bool]:
    """Probe until the silence is evidence, or until it is certain that it will not be.

    Return False if the address goes on answering. Raises TooSoon, WentOn or Void if the pull does not count.
    """
    run, pull = port.run, port.pull
    assert pull is not None
    choose_controls(port)
    entered, counted_from, enough_at = run.now, pull.counted_from, 0.0
    longest = max(LONGEST_OUT, 2 * run.options.patience, 2 * run.options.out_for)
    while run.now - pull.counted_from < longest:
        _cable_changes(port, pull)
        check_controls(port)
        if pull.cable != "carrier" and _answered_meanwhile(port, pull):
            if run.now > entered + run.options.patience:
                port.stayed = True
                return False
            _warn_of_others(port)
        _ask_without_sender(port, pull)
        if _fell_after_enter(pull):
            if not port.answers_when_out():
                _ask_for_enter(port, pull)
            yield
            continue
        if counted_from != pull.counted_from:  # the silence began again
            counted_from, enough_at = pull.counted_from, 0.0
        if enough_at or port.silent_enough():
            enough_at = enough_at or run.now
            if pull.cable == "carrier" or _is_alone(port):
                port.say(What.ENOUGH, _what_suffices(port, pull))
                break
            if run.now > enough_at + DOUBT and (together := fallen_together(port)):
                if port.chained >= set(together):
                    break
                raise to_repeat(port, together)
            if run.now > enough_at + run.options.patience:
                raise Void("no other device went on answering, so the whole switch may have fallen silent")
        yield
    if _fell_after_enter(pull):
        raise WentOn
    _close_out(port, pull)
    return True


def _what_suffices(port: PortState, pull: Pull) -> str:
    """Return the text for the end of phase out; it names no proven silence if another device answered meanwhile."""
    entries = (port.entry, *port.beyond)
    macs = {sighting.mac for entry in entries for sighting in entry.heard(pull.silent_from)} - {port.mac}
    if not macs:
        return "Silence proven"
    names = listed([port.run.names.of(mac) for mac in sorted(macs)])
    return f"{names} answered while the cable was out"


def _fell_after_enter(pull: Pull) -> bool:
    """Return whether the device went on answering for longer than ON_TIME after Enter said that its cable is out.

    A silence that begins later is not a consequence of the pull that Enter confirmed.
    """
    return pull.cable == "operator" and pull.late


def _ask_for_enter(port: PortState, pull: Pull) -> None:
    text = f"{port.target.address_text} fell silent {pull.after or 0.0:.0f} s after the request"
    port.warn(f"{text}: press Enter if its cable is out", holds=True)


def _is_alone(port: PortState) -> bool:
    """Return whether the port fell silent alone: a control went on answering, and none fell silent at the same time.

    Also return True if no other device was ever heard: then there is no control, and the judge says so.
    """
    return not fallen_together(port) and (bool(trusted(port)) or not counted_controls(port))


def _ask_without_sender(port: PortState, pull: Pull) -> None:
    """Let the scheduler send some requests with sender 0.

    The pulled device cannot hear them, and a proxy does not answer them. A second owner that does not answer requests
    from this station's address answers them. None is sent while a host checks whether the address is free: that host
    would take them for a conflict (RFC 5227 section 2.1.1).
    """
    if port.entry.claimed > pull.silent_from and pull.cable != "carrier":
        port.ask_no_more_anonymously()
        if port.entry.claimed_by == port.mac and pull.cable == "inferred":
            raise TooSoon
    elif not pull.asks_anonymously and port.run.now > pull.silent_from + ESTABLISHED:
        pull.asks_anonymously = True
        for entry in port.beyond if pull.cable == "carrier" else (port.entry, *port.beyond):
            entry.anonymous_left = max(0, ANONYMOUS * port.target.ports - entry.anonymous_sent)


def _cable_changes(port: PortState, pull: Pull) -> None:
    """Handle changes of the carrier and presses of Enter while the cable should be out."""
    run = port.run
    if pull.cable == "carrier":
        if run.carrier[0]:
            raise TooSoon
        check_station(port)
        return
    if run.options.direct and not run.carrier[0] and not run.gone:
        port.open_out("carrier")
        return
    if port.pressed() and (pull.cable == "inferred" or _fell_after_enter(pull)):
        _confirm_silence(port, pull)
    check_station(port)
    if everything_fell(port) and port.fell():
        names = listed([run.label(entry) for entry in pull.all_controls])
        raise Void(f"everything fell silent at once ({names}): it was the station's own cable, the switch, or a chain")


def _answered_meanwhile(port: PortState, pull: Pull) -> bool:
    """Begin the silence again if the address answers; return whether it did.

    Raises TooSoon if the silence was inferred, and WentOn if the address answers long after Enter.
    """
    sign = port.newest_sign(pull.counted_from)
    if sign is None:
        return False
    if pull.cable == "inferred":
        raise TooSoon
    went_on = pull.entered_at is not None and sign.means > pull.entered_at + ON_TIME
    if went_on and not _may_have_fallen_instead(port, pull):
        raise WentOn
    port.begin_silence(max(port.run.now, sign.at))
    port.ask_no_more_anonymously()
    pull.asks_anonymously = False
    choose_controls(port)
    port.warn(f"{port.target.address_text} still answers: is it the right cable?", holds=True)
    return True


def _may_have_fallen_instead(port: PortState, pull: Pull) -> bool:
    """Return whether another address may have fallen silent, which is not certain yet.

    The pull is not asked for again before it is certain.
    """
    return not fell_instead(port, 0.0) and any(port.run.fell(entry) for entry in pull.living)


def _confirm_silence(port: PortState, pull: Pull) -> None:
    """Begin the silence again at the Enter that confirms it."""
    pull.entered_at = port.run.now
    if pull.cable != "carrier":
        pull.cable = "operator"
        port.begin_silence(port.run.now)


def confirm_late(port: PortState) -> Generator[None, None, bool]:
    """Wait until the operator confirms a silence that began long after the request; return whether it is confirmed."""
    pull, until = port.pull, port.run.now + port.run.options.patience
    assert pull is not None
    while pull.late and port.run.now < until and not port.run.options.hands_free:
        _ask_for_enter(port, pull)
        if port.pressed():
            _confirm_silence(port, pull)
        if pull.cable == "carrier" and port.run.carrier[0]:
            raise TooSoon
        check_station(port)
        if pull.cable == "inferred" and port.newest_sign(pull.counted_from) is not None:
            raise TooSoon
        yield
    return not pull.late


def _close_out(port: PortState, pull: Pull) -> None:
    port.together = [] if pull.cable == "carrier" else fallen_together(port)
    port.fallen = tuple(dict.fromkeys((*port.fallen, *(port.run.label(entry) for entry in port.together))))
    port.held = len(trusted(port))
    port.ask_no_more_anonymously()
    port.close_out()


def check_station(port: PortState) -> None:
    """Raise Disturbed if this computer did not run or lost its link; through a switch the link must stay up."""
    run = port.run
    if run.disturbances != port.disturbances:
        port.disturbances = run.disturbances
        raise Disturbed(run.disturbance)
    if run.gone:
        port.drops = run.drops
        raise Disturbed("this computer's interface is down or gone")
    if not run.options.direct and (not run.carrier[0] or run.drops != port.drops):
        port.drops = run.drops
        raise Disturbed("the station's own cable came out")


def give_up(tries: int) -> Cut:
    """Return the exception that ends a port after so many pulls that ended too soon or began too late."""
    return Cut(f"the cable was put back too soon {tries} times, or the link is flapping", void=True)
