"""Phase out: ask for the cable to be pulled, find out when it is out, and listen to the silence."""

from __future__ import annotations

from collections.abc import Generator

from netcheck.proof.events import Action, What
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER
from netcheck.proof.probing.scheduler import ARP_EVERY
from netcheck.proof.run_state import Cut
from netcheck.text import listed

DOUBT = 6.0  # seconds a control may take to answer before it counts as fallen
AGAIN = 5  # times that a cable may be put back too soon
LONGEST_OUT = 120.0  # seconds after which a silence that still means nothing is given up
Steps = Generator[None, None, None]


class Void(Exception):
    """The phase means nothing and is repeated; the text says why."""


class TooSoon(Exception):
    """The address answered again before its silence meant anything."""


def pull_and_out(case: PortState) -> Steps:
    """Ask for the cable to be pulled and listen to the silence, again where it was put back too soon."""
    run = case.run
    case.request, case.living = run.now, []
    case.choose_controls()
    case.living = case.controls
    warning = ""
    for _ in range(AGAIN):
        yield from pull(case, warning)
        if case.out_from == EVER or case.stayed:
            return
        try:
            yield from phase_out(case)
        except TooSoon:
            case.out_did_not_count()
            warning = f"{case.target.address_text} answers again too soon: leave the cable out until you are told"
            continue
        return
    raise Cut(f"the cable was put back too soon {AGAIN} times, or the link is flapping", void=True)


def pull(case: PortState, warning: str) -> Steps:
    """Ask for the pull and find out when the cable is out; leaves `out_from` unset where a second owner turns up."""
    run = case.run
    run.enter()
    deadline = run.now + run.settings.patience
    case.ask(Action.PULL, f"Pull the cable of {case.target.subject}", deadline if run.settings.hands_free else None)
    if warning:
        case.warn(warning)
    while not _out(case):
        own_cable(case)
        if case.second_owner():
            case.warn(f"Two devices answer for {case.target.address_text}")
            return case.close_in(run.now)
        if run.settings.hands_free and run.now > deadline:
            case.stayed = True
            return None
        _notice_others(case)
        yield
    return case.say(What.SILENT, "The cable is out: leave it out")


def _out(case: PortState) -> bool:
    """Begin phase out if the cable is out: by the carrier, by the operator's word, or by the silence."""
    run = case.run
    if run.settings.direct and not run.carrier[0]:
        case.open_out("carrier", run.now)
    elif case.pressed():
        case.open_out("operator", run.now)
    elif case.fell() and case.newest_sign(run.now - ARP_EVERY) is None:
        last = case.last_sign()
        if last < case.request - max(ARP_EVERY, 3 * case.line.longest_gap(case.first, last, case.mac or 0)):
            raise Void(f"{case.target.address_text} fell silent before its cable was to be pulled")
        case.open_out("inferred", last + 1e-6)  # just after the last probe that was answered
    return case.out_from < EVER


def _notice_others(case: PortState) -> None:
    """Say at once, and remember, that others fall silent while the one under test goes on."""
    instead = [case.run.word(line) for line in case.living if case.run.fell(line)]
    if instead:
        case.instead = tuple(dict.fromkeys((*case.instead, *instead)))
        case.warn(f"{listed(instead)} fell silent instead: the wrong cable, or their addresses are swapped")


def phase_out(case: PortState) -> Steps:
    """Probe until the silence means something, or until it is clear that it will not."""
    run = case.run
    case.choose_controls()
    entered, quiet_from, enough_at = run.now, case.quiet_from, EVER
    longest = max(LONGEST_OUT, 2 * run.settings.patience, 2 * run.settings.out_for)
    while run.now - case.quiet_from < longest:
        _cable_changes(case)
        case.mind_the_controls()
        if case.cable != "carrier" and _answered_meanwhile(case):
            if run.now > entered + run.settings.patience:
                case.stayed = True
                return
            _notice_others(case)
        if quiet_from != case.quiet_from:  # it begins anew
            quiet_from, enough_at = case.quiet_from, EVER
        if enough_at < EVER or case.silent_enough():
            enough_at = min(enough_at, run.now)
            if case.cable == "carrier" or not case.doubtful():
                if case.unclear():
                    case.warn("Answers are lost in bursts: this silence could be one of them")
                else:
                    case.say(What.ENOUGH, "Silence proven")
                break
            if run.now > enough_at + DOUBT:
                break
        yield
    _close_out(case)


def _cable_changes(case: PortState) -> None:
    """Take in what the carrier and the operator say while the cable should be out."""
    run = case.run
    if case.cable == "carrier":
        if run.carrier[0]:
            raise TooSoon
        return
    if run.settings.direct and not run.carrier[0]:
        case.open_out("carrier", run.now)
        return
    if case.pressed() and case.cable == "inferred":
        case.cable = "operator"
        case.begin_silence(run.now)
    own_cable(case)
    if everything_fell(case) and case.fell():
        names = listed([run.word(line) for line in case.all_controls])
        raise Void(f"everything fell silent at once ({names}): it was the station's own cable, the switch, or a chain")


def _answered_meanwhile(case: PortState) -> bool:
    """Restart the silence where the address answers after all; an inferred silence was none then."""
    sign = case.newest_sign(case.quiet_from)
    if sign is None:
        return False
    if case.cable == "inferred":
        raise TooSoon
    case.begin_silence(max(case.run.now, sign.at))
    case.choose_controls()
    case.warn(f"{case.target.address_text} still answers: is it the right cable?")
    return True


def _close_out(case: PortState) -> None:
    fallen = [] if case.cable == "carrier" else case.doubtful()
    case.fallen = tuple(case.run.word(line) for line in fallen)
    case.held = len(case.counted_controls()) - len(fallen)
    case.close_out()


def own_cable(case: PortState) -> None:
    """Through a switch, the station's carrier must stay: 6-settled-details.md 5."""
    run = case.run
    if not run.settings.direct and (not run.carrier[0] or run.drops != case.drops):
        case.drops = run.drops
        raise Void("the station's own cable came out")


def everything_fell(case: PortState) -> bool:
    """Say whether every control has fallen silent as well."""
    return bool(case.all_controls) and all(case.run.fell(line) for line in case.all_controls)
