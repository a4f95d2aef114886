"""Phase back, and what puts things right: the cable in again, and phases that did not count."""

from __future__ import annotations

from collections.abc import Generator

from netcheck.proof.bench import Cut
from netcheck.proof.case import Case
from netcheck.proof.events import What
from netcheck.proof.lines import EVER, Kind
from netcheck.proof.luck import unheard
from netcheck.proof.observed import LEAST_ARP
from netcheck.proof.result import Phase
from netcheck.proof.silence import everything_fell

LONGEST_BACK = 30.0  # seconds given to hear who else answers, once it is back
TRIES = 3  # times that a phase is repeated before the port is given up
Steps = Generator[None, None, None]


def phase_back(case: Case) -> Steps:
    """Ask for the cable to be put back and wait for the same MAC to answer again."""
    bench = case.bench
    assert case.mac is not None
    case.back_from = bench.now
    returned = yield from _wait_for_return(case, case.mac, case.back_from)
    if returned is None:
        if not bench.settings.direct and everything_fell(case):
            raise Cut("everything fell silent while it was to come back", void=True)
        return
    case.returned = returned
    case.say(What.RETURNED, f"{case.target.address_text} answers again")
    until = bench.now + LONGEST_BACK
    while not _heard_enough(case) and bench.now < until:
        case.pressed()
        if bench.drops != case.drops and not bench.settings.direct:
            raise Cut("the station's own cable came out", void=True)
        yield


def _wait_for_return(case: Case, mac: int, since: float) -> Generator[None, None, float | None]:
    """When the first probe that it answered again was sent; None where it does not within the patience. The patience
    begins anew when Enter is pressed, when the station's own cable is back, or, on a direct cable, with its carrier."""
    bench = case.bench
    bench.enter()
    deadline = bench.now + bench.settings.patience
    case.say(What.DO, f"Plug the cable of {case.target.subject} in again", deadline)
    while (returned := case.answer_of(mac, since)) is None:
        unplugged = bench.settings.direct and not bench.carrier[0] and not bench.settings.hands_free
        if case.pressed() or unplugged:
            deadline = bench.now + bench.settings.patience
        if not bench.settings.direct and not bench.carrier[0]:
            yield from _own_cable_back(case)
            deadline = bench.now + bench.settings.patience
        if bench.now > deadline:
            return None
        yield
    return returned


def _own_cable_back(case: Case) -> Steps:
    bench = case.bench
    case.warn("The station's own cable is out: plug it in again")
    until = bench.now + bench.settings.patience
    while not bench.carrier[0]:
        if bench.now > until:
            raise Cut("the station's own cable came out, and it could not be repeated", void=True)
        case.pressed()
        yield
    case.drops = bench.drops


def _heard_enough(case: Case) -> bool:
    """Enough broadcast requests that a second owner had its chance: 6-settled-details.md 35."""
    assert case.mac is not None
    if not case.bench.asker.hears_all:
        return case.line.tally(Kind.ECHO, case.returned, EVER, case.mac).sent >= LEAST_ARP[Phase.BACK]
    back = case.line.tally(Kind.ARP, case.returned, EVER, case.mac).sent
    before = sum(result.arp.sent for result in case.results.values())
    return back >= LEAST_ARP[Phase.BACK] and unheard(before + back) <= case.bench.settings.unheard


def put_back(case: Case) -> Steps:
    """Nothing more is to be learned: see that the cable is back before the next port, at most for the patience."""
    assert case.mac is not None
    case.close()
    try:
        yield from _wait_for_return(case, case.mac, case.bench.now)
    except Cut:
        return


def recover(case: Case, why: str) -> Steps:
    """Wait until everything answers again, then let the phases be repeated; give up where that does not happen."""
    bench = case.bench
    assert case.mac is not None
    case.voids += 1
    case.out_did_not_count()
    case.request = EVER
    since, deadline = bench.now, bench.now + bench.settings.patience
    case.say(What.DO, "Put every cable back as it was; the phase is repeated", deadline)
    case.warn(f"This does not count: {why}")
    while not _all_answer(case, case.mac, since):
        if bench.now > deadline or case.voids > TRIES:
            raise Cut(f"{why}, and it could not be repeated", void=True)
        case.pressed()
        yield
    case.drops = bench.drops
    case.first = case.answer_of(case.mac, since) or bench.now


def _all_answer(case: Case, mac: int, since: float) -> bool:
    if not case.bench.carrier[0] or case.answer_of(mac, since) is None:
        return False
    return all(line.answered_between(since) for line in case.all_controls)
