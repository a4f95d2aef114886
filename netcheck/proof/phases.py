"""One port's proof as a sequence: cable in, out, back; generators that the prober resumes at every turn.

They look at what was asked and heard and at the bench's clock, say what to do, and set the fields of the case. No
verdict is taken here: `decided` asks the judge whether it is settled already, so that no cable is moved in vain.
"""

from __future__ import annotations

from collections.abc import Callable, Generator

from netcheck.proof.asking import ARP_EVERY, ECHO_EVERY
from netcheck.proof.bench import FRESH, Cut
from netcheck.proof.case import EVER, Case
from netcheck.proof.events import What
from netcheck.proof.lines import Kind, Line
from netcheck.proof.luck import unheard
from netcheck.proof.observed import LEAST_ARP, Observed
from netcheck.proof.result import Phase

ENOUGH_IN = 30.0  # seconds after which a lossy device's cable is asked for all the same
BEST_ARP = 8  # with so many answered first, phases in and out together need the fewest probes (17 where inferred)
READY_MISSES = 20  # phase in goes on while phase out would need more misses than this
TRIGGER = 1e-3  # a run of misses this unlikely opens phase out: a hint, not the evidence
DOUBT = 6.0  # seconds a control may take to answer before it counts as fallen
TRIES = 3  # times that a phase is repeated before the port is given up
CONTROL_ASKS = 3  # questions to an address that nobody should own
CONTROL_WAIT = 1.5  # seconds for its answer: routers that answer for others take up to 0.6 s (measured)
AGAIN = 5  # times that a cable may be put back too soon
Steps = Generator[None, None, None]


class Void(Exception):
    """The phase means nothing and is repeated; the text says why."""


class TooSoon(Exception):
    """The address answered again before its silence meant anything."""


def prove_port(case: Case, decided: Callable[[Observed], bool], claim: Callable[[], Steps]) -> Steps:
    """Take one port through its phases; afterwards `case.observed()` is the judge's. `claim` sees to it, once the cable
    is in, that there is an address to ask from."""
    try:
        yield from connect(case)
        yield from claim()
        yield from phase_in(case)
        while case.mac is not None and case.back_from == EVER:
            try:
                yield from gather(case)
                if decided(case.observed()):
                    return
                yield from pull_and_out(case)
                if case.out_from == EVER or case.stayed:
                    return
                if decided(case.observed()):
                    case.say(What.DO, f"Plug the cable of {case.target.subject} in again")
                    return
                yield from phase_back(case)
            except Void as void:
                yield from recover(case, str(void))
    except Cut as cut:
        case.cut = cut.why
    finally:
        case.close()
        _ask_nothing(case)


def _ask_nothing(case: Case) -> None:
    for line in (case.line, *case.beyond, *case.negatives):
        case.bench.asker.want(line, case.bench.now)


# Phase in


def connect(case: Case) -> Steps:
    """Ask for the cable; with --direct, wait for the carrier."""
    bench, where = case.bench, case.target.subject
    if case.target.ordinal and not bench.settings.hands_free:
        bench.enter()
        case.say(What.DO, f"Move the cable to {where}, then press Enter")
        while not case.pressed():
            yield
    elif bench.settings.direct:
        case.say(What.DO, f"Plug the cable into {where}")
    else:
        case.say(What.DO, f"See that the cable of {where} is plugged in")
    deadline = bench.now + bench.settings.patience
    while bench.settings.direct and not bench.carrier[0]:
        if bench.settings.hands_free and bench.now > deadline:
            break
        case.pressed()
        yield


def phase_in(case: Case) -> Steps:
    """Probe until answered or until the patience is used up; sets `mac` and `first`, or leaves them."""
    bench = case.bench
    case.began = bench.now
    bench.asker.want(case.line, bench.now, arp=ARP_EVERY, echo=ECHO_EVERY, urgent=True)
    for line in case.beyond:
        bench.asker.want(line, bench.now, arp=ARP_EVERY, urgent=True)
    deadline = _wait_for_it(case)
    while (found := case.first_answer(case.began)) is None:
        if bench.now > deadline:
            yield from last_round(case)
            return
        if case.pressed() or (bench.drops != case.drops and bench.carrier[0]):
            case.drops = bench.drops
            deadline = _wait_for_it(case)
        yield
    case.mac, case.first = found
    case.line.mac = case.mac
    case.first_after = case.first - case.began
    case.say(What.HEARD, f"{case.target.address_text} answers")


def _wait_for_it(case: Case) -> float:
    until = case.bench.now + case.bench.settings.patience
    text = (
        f"Waiting for {case.target.address_text}; link-up, a switch port that starts forwarding and the device's own "
        "address check can take 45 s together"
    )
    case.say(What.WAIT, text, until)
    return until


def last_round(case: Case) -> Steps:
    """Three ARP probes with sender 0: is it absent, or there and deaf to this station? (4-proof.md, Probes)"""
    bench = case.bench
    if not bench.asker.hears_all or not bench.carrier[0]:
        return
    case.say(What.WAIT, "Nothing answered; a last round, asked without a sender address")
    bench.asker.want(case.line, bench.now)
    yield from _pause(case, ARP_EVERY)
    started = bench.now
    for _ in range(3):
        bench.asker.ask_anonymously(bench.now, case.line)
        yield from _pause(case, ARP_EVERY)
    yield from _pause(case, 1.0)
    heard = [hearing.mac for hearing in case.line.heard(started, EVER) if hearing.asked is not None]
    case.anonymous = heard[0] if heard else None


def _pause(case: Case, seconds: float) -> Steps:
    until = case.bench.now + seconds
    while case.bench.now < until:
        yield


def gather(case: Case) -> Steps:
    """Go on until there is enough to say how reliably it answers, who else answers, and the watch has gone round."""
    bench = case.bench
    until = bench.now + ENOUGH_IN
    case.say(What.WAIT, "Counting its answers", until)
    spare = bench.aim.net(case.target.subnet).spare
    while not all((case.reliable(), _controls_asked(case, spare), bench.now > until or _ready(case))):
        case.pressed()
        _own_cable(case)
        yield
    case.close_in(bench.now)


def _ready(case: Case) -> bool:
    """Phase out can be short, and there is a control for it or every watched address has had its turns."""
    bench = case.bench
    if bench.settings.direct:
        return True
    others, gateway = bench.companions(case.target, bench.now)
    known = bool(others or gateway) or all(line.asked >= 3 for line in bench.watched.values())
    assert case.mac is not None
    asked = case.line.tally(Kind.ARP, case.first, EVER, case.mac).sent
    return known and case.needed() <= READY_MISSES and (asked >= BEST_ARP or not bench.asker.hears_all)


def _controls_asked(case: Case, spare: tuple[int, ...]) -> bool:
    """Ask the address that nobody should own; if somebody unknown answers, ask a second one."""
    bench = case.bench
    if not bench.asker.hears_all:
        return True
    if case.negatives:
        line = case.negatives[-1]
        if sum(probe.settled and probe.sent >= case.began for probe in line.probes) < CONTROL_ASKS:
            return False
        bench.asker.want(line, bench.now)
        known = {*bench.aim.site_macs, *(watched.mac for watched in bench.watched.values())} - {case.mac}
        if not set(line.macs(case.began, EVER)) - known:
            return True
    if len(case.negatives) >= len(spare):
        return True
    line = bench.asker.line(spare[len(case.negatives)], case.target.subnet)
    line.most_wait = CONTROL_WAIT
    case.negatives.append(line)
    bench.asker.want(line, bench.now, arp=ARP_EVERY, urgent=True)
    return False


# Phase out


def pull_and_out(case: Case) -> Steps:
    """Ask for the cable to be pulled and listen to the silence, again where it was put back too soon."""
    case.request = case.bench.now
    living = case.bench.companions(case.target, case.bench.now)[0]
    for _ in range(AGAIN):
        yield from pull(case, living)
        if case.out_from == EVER or case.stayed:
            return
        try:
            yield from phase_out(case, living)
        except TooSoon:
            case.out_from = case.quiet_from = EVER
            case.cable = None
            case.warn("It answers again too soon: pull the cable and leave it out until told")
            continue
        return
    raise Cut(f"the cable was put back too soon {AGAIN} times, or the link is flapping")


def pull(case: Case, living: list[Line]) -> Steps:
    """Ask for the pull and find out when the cable is out; leaves `out_from` unset where a second owner turns up."""
    bench = case.bench
    bench.enter()
    deadline = bench.now + bench.settings.patience
    case.say(What.DO, f"Pull the cable of {case.target.subject}", deadline if bench.settings.hands_free else None)
    while True:
        if bench.settings.direct and not bench.carrier[0]:
            return _out_begins(case, "carrier", bench.now)
        if case.pressed():
            return _out_begins(case, "operator", bench.now)
        _own_cable(case)
        if case.second_owner():
            case.warn(f"Two devices answer for {case.target.address_text}")
            return case.close_in(bench.now)
        if case.mac is not None and case.line.fallen(case.mac, case.first, TRIGGER, 3):
            return _out_begins(case, "inferred", _last_sign(case))
        if bench.settings.hands_free and bench.now > deadline:
            return _stayed(case, living)
        _warn_of_others(case, living)
        yield


def _out_begins(case: Case, cable: str, out_from: float) -> None:
    case.cable, case.out_from, case.quiet_from = cable, out_from, case.bench.now
    case.close_in(out_from)
    case.say(What.SILENT, "The cable is out: leave it out", None)


def _last_sign(case: Case) -> float:
    """Just after the last probe that the MAC under test answered was sent."""
    answered = [probe.sent for probe in case.line.probes if case.mac in probe.answers]
    return max(answered, default=case.bench.now) + 1e-6


def _stayed(case: Case, living: list[Line]) -> None:
    case.stayed = True
    case.instead = tuple(case.bench.word(line) for line in living if case.bench.fell(line))


def _warn_of_others(case: Case, living: list[Line]) -> None:
    instead = [case.bench.word(line) for line in living if case.bench.fell(line)]
    if instead:
        case.warn(f"{instead[0]} fell silent instead: the wrong cable, or their addresses are swapped")


def phase_out(case: Case, living: list[Line]) -> Steps:
    """Probe until the silence means something, or until it is clear that it will not."""
    bench = case.bench
    case.controls, case.gateway = bench.companions(case.target, case.out_from)
    entered, enough_at = bench.now, EVER
    too_long = max(120.0, 2 * bench.settings.patience)
    while bench.now - case.quiet_from < too_long:
        _cable_changes(case)
        if case.cable != "carrier" and _answered_meanwhile(case):
            enough_at = EVER
            if bench.now > entered + bench.settings.patience:
                return _stayed(case, living)
            _warn_of_others(case, living)
        if case.silent_enough():
            enough_at = min(enough_at, bench.now)
            if not _doubtful(case) or bench.now > enough_at + DOUBT:
                break
        yield
    _close_out(case)
    case.say(What.ENOUGH, "Silence proven")


def _cable_changes(case: Case) -> None:
    """Take in what the carrier and the operator say while the cable should be out."""
    bench = case.bench
    if case.cable == "carrier":
        if bench.carrier[0]:
            raise TooSoon
        return
    if bench.settings.direct and not bench.carrier[0]:
        case.cable, case.out_from, case.quiet_from = "carrier", bench.now, bench.now
        return
    if case.pressed() and case.cable == "inferred":
        case.cable, case.quiet_from = "operator", bench.now
    _own_cable(case)
    controls = case.controls or ([case.gateway] if case.gateway is not None else [])
    if controls and all(bench.fell(line) for line in controls):
        raise Void("everything fell silent at once: it was the station's own cable or the switch")


def _answered_meanwhile(case: Case) -> bool:
    """Restart the silence where the address answers after all; an inferred silence was none then."""
    sign = case.newest_sign(case.quiet_from)
    if sign is None:
        return False
    if case.cable == "inferred":
        raise TooSoon
    case.quiet_from = max(case.bench.now, sign.at)
    case.warn(f"{case.target.address_text} still answers: is it the right cable?")
    return True


def _doubtful(case: Case) -> list[Line]:
    since = max(case.quiet_from, case.bench.now - FRESH)
    return [line for line in case.controls if case.bench.doubtful(line, since)]


def _close_out(case: Case) -> None:
    fallen = [] if case.cable == "carrier" else _doubtful(case)
    case.fallen = tuple(case.bench.word(line) for line in fallen)
    case.held = len(case.controls) - len(fallen)
    if not case.controls and case.gateway is not None:
        case.held = int(not case.bench.doubtful(case.gateway, case.quiet_from))
    case.close_out()


# Phase back


def phase_back(case: Case) -> Steps:
    """Ask for the cable to be put back and wait for the same MAC to answer again."""
    bench = case.bench
    assert case.mac is not None
    bench.enter()
    case.back_from = bench.now
    deadline = bench.now + bench.settings.patience
    case.say(What.DO, f"Plug the cable of {case.target.subject} in again", deadline)
    while (returned := case.answer_of(case.mac, case.back_from)) is None:
        unplugged = bench.settings.direct and not bench.carrier[0] and not bench.settings.hands_free
        if case.pressed() or unplugged:
            deadline = bench.now + bench.settings.patience
        if bench.now > deadline:
            return
        yield
    case.returned = returned
    case.say(What.RETURNED, f"{case.target.address_text} answers again")
    until = bench.now + ENOUGH_IN
    while not _heard_enough(case) and bench.now < until:
        case.pressed()
        yield


def _heard_enough(case: Case) -> bool:
    """Enough broadcast requests that a second owner had its chance: 6-settled-details.md 35."""
    assert case.mac is not None
    if not case.bench.asker.hears_all:
        return case.line.tally(Kind.ECHO, case.returned, EVER, case.mac).sent >= LEAST_ARP[Phase.BACK]
    back = case.line.tally(Kind.ARP, case.returned, EVER, case.mac).sent
    before = sum(result.arp.sent for result in case.results.values())
    return back >= LEAST_ARP[Phase.BACK] and unheard(before + back) <= case.bench.settings.unheard


# When a phase is void


def _own_cable(case: Case) -> None:
    """Through a switch, the station's carrier must stay: 6-settled-details.md 5."""
    bench = case.bench
    if bench.settings.direct:
        return
    if not bench.carrier[0] or bench.drops != case.drops:
        case.drops = bench.drops
        raise Void("the station's own cable came out")


def recover(case: Case, why: str) -> Steps:
    """Wait until everything answers again, then let the phases be repeated; give up where that does not happen."""
    bench = case.bench
    assert case.mac is not None
    case.voids += 1
    case.say(What.WARN, f"This does not count: {why}. Put it right; the phase is repeated")
    since, deadline = bench.now, bench.now + bench.settings.patience
    answered = None
    while answered is None or not bench.carrier[0] or any(bench.doubtful(line, since) for line in case.controls):
        if bench.now > deadline or case.voids > TRIES:
            raise Cut(f"{why}, and it could not be repeated")
        case.pressed()
        answered = case.answer_of(case.mac, since)
        yield
    case.drops = bench.drops
    case.first, case.request, case.cable = answered, None, None
    case.out_from = case.quiet_from = EVER
