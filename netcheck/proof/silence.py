"""Phase out: ask for the cable to be pulled, find out when it is out, and listen to the silence."""

from __future__ import annotations

from collections.abc import Generator

from netcheck.proof.asking import ARP_EVERY
from netcheck.proof.bench import Cut
from netcheck.proof.case import Case
from netcheck.proof.events import What
from netcheck.proof.lines import EVER
from netcheck.text import listed

DOUBT = 6.0  # seconds a control may take to answer before it counts as fallen
AGAIN = 5  # times that a cable may be put back too soon
LONGEST_OUT = 120.0  # seconds after which a silence that still means nothing is given up
Steps = Generator[None, None, None]


class Void(Exception):
    """The phase means nothing and is repeated; the text says why."""


class TooSoon(Exception):
    """The address answered again before its silence meant anything."""


def pull_and_out(case: Case) -> Steps:
    """Ask for the cable to be pulled and listen to the silence, again where it was put back too soon."""
    bench = case.bench
    case.request, case.living = bench.now, []
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


def pull(case: Case, warning: str) -> Steps:
    """Ask for the pull and find out when the cable is out; leaves `out_from` unset where a second owner turns up."""
    bench = case.bench
    bench.enter()
    deadline = bench.now + bench.settings.patience
    case.say(What.DO, f"Pull the cable of {case.target.subject}", deadline if bench.settings.hands_free else None)
    if warning:
        case.warn(warning)
    while not _out(case):
        own_cable(case)
        if case.second_owner():
            case.warn(f"Two devices answer for {case.target.address_text}")
            return case.close_in(bench.now)
        if bench.settings.hands_free and bench.now > deadline:
            case.stayed = True
            return None
        _notice_others(case)
        yield
    return case.say(What.SILENT, "The cable is out: leave it out")


def _out(case: Case) -> bool:
    """Begin phase out if the cable is out: by the carrier, by the operator's word, or by the silence."""
    bench = case.bench
    if bench.settings.direct and not bench.carrier[0]:
        case.open_out("carrier", bench.now)
    elif case.pressed():
        case.open_out("operator", bench.now)
    elif case.fell() and case.newest_sign(bench.now - ARP_EVERY) is None:
        last = case.last_sign()
        if last < case.request - max(ARP_EVERY, 3 * case.line.longest_gap(case.first, last, case.mac or 0)):
            raise Void(f"{case.target.address_text} fell silent before its cable was to be pulled")
        case.open_out("inferred", last + 1e-6)  # just after the last probe that was answered
    return case.out_from < EVER


def _notice_others(case: Case) -> None:
    """Say at once, and remember, that others fall silent while the one under test goes on."""
    instead = [case.bench.word(line) for line in case.living if case.bench.fell(line)]
    if instead:
        case.instead = tuple(dict.fromkeys((*case.instead, *instead)))
        case.warn(f"{listed(instead)} fell silent instead: the wrong cable, or their addresses are swapped")


def phase_out(case: Case) -> Steps:
    """Probe until the silence means something, or until it is clear that it will not."""
    bench = case.bench
    case.choose_controls()
    entered, quiet_from, enough_at = bench.now, case.quiet_from, EVER
    longest = max(LONGEST_OUT, 2 * bench.settings.patience, 2 * bench.settings.out_for)
    while bench.now - case.quiet_from < longest:
        _cable_changes(case)
        case.mind_the_controls()
        if case.cable != "carrier" and _answered_meanwhile(case):
            if bench.now > entered + bench.settings.patience:
                case.stayed = True
                return
            _notice_others(case)
        if quiet_from != case.quiet_from:  # it begins anew
            quiet_from, enough_at = case.quiet_from, EVER
        if enough_at < EVER or case.silent_enough():
            enough_at = min(enough_at, bench.now)
            if case.cable == "carrier" or not case.doubtful():
                if case.unclear():
                    case.warn("Answers are lost in bursts: this silence could be one of them")
                else:
                    case.say(What.ENOUGH, "Silence proven")
                break
            if bench.now > enough_at + DOUBT:
                break
        yield
    _close_out(case)


def _cable_changes(case: Case) -> None:
    """Take in what the carrier and the operator say while the cable should be out."""
    bench = case.bench
    if case.cable == "carrier":
        if bench.carrier[0]:
            raise TooSoon
        return
    if bench.settings.direct and not bench.carrier[0]:
        case.open_out("carrier", bench.now)
        return
    if case.pressed() and case.cable == "inferred":
        case.cable = "operator"
        case.begin_silence(bench.now)
    own_cable(case)
    if everything_fell(case) and case.fell():
        names = listed([bench.word(line) for line in case.all_controls])
        raise Void(f"everything fell silent at once ({names}): it was the station's own cable, the switch, or a chain")


def _answered_meanwhile(case: Case) -> bool:
    """Restart the silence where the address answers after all; an inferred silence was none then."""
    sign = case.newest_sign(case.quiet_from)
    if sign is None:
        return False
    if case.cable == "inferred":
        raise TooSoon
    case.begin_silence(max(case.bench.now, sign.at))
    case.choose_controls()
    case.warn(f"{case.target.address_text} still answers: is it the right cable?")
    return True


def _close_out(case: Case) -> None:
    fallen = [] if case.cable == "carrier" else case.doubtful()
    case.fallen = tuple(case.bench.word(line) for line in fallen)
    case.held = len(case.counted_controls()) - len(fallen)
    case.close_out()


def own_cable(case: Case) -> None:
    """Through a switch, the station's carrier must stay: 6-settled-details.md 5."""
    bench = case.bench
    if not bench.settings.direct and (not bench.carrier[0] or bench.drops != case.drops):
        case.drops = bench.drops
        raise Void("the station's own cable came out")


def everything_fell(case: Case) -> bool:
    """Say whether every control has fallen silent as well."""
    return bool(case.all_controls) and all(case.bench.fell(line) for line in case.all_controls)
