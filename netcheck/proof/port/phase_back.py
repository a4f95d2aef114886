"""Phase back, and what puts things right: the cable in again, and phases that did not count."""

from __future__ import annotations

from collections.abc import Generator

from netcheck.proof.events import Action, What
from netcheck.proof.port.phase_out import everything_fell
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER, ProbeKind
from netcheck.proof.result import Phase
from netcheck.proof.run_state import Cut
from netcheck.proof.verdict.luck import unheard
from netcheck.proof.verdict.observation import LEAST_ARP

LONGEST_BACK = 30.0  # seconds given to hear who else answers, once it is back
TRIES = 3  # times that a phase is repeated before the port is given up
Steps = Generator[None, None, None]


def phase_back(case: PortState) -> Steps:
    """Ask for the cable to be put back and wait for the same MAC to answer again."""
    run = case.run
    assert case.mac is not None
    case.back_from = run.now
    returned = yield from _wait_for_return(case, case.mac, case.back_from)
    if returned is None:
        if not run.settings.direct and everything_fell(case):
            raise Cut("everything fell silent while it was to come back", void=True)
        return
    case.returned = returned
    case.say(What.RETURNED, f"{case.target.address_text} answers again")
    until = run.now + LONGEST_BACK
    while not _heard_enough(case) and run.now < until:
        case.pressed()
        if run.drops != case.drops and not run.settings.direct:
            raise Cut("the station's own cable came out", void=True)
        yield


def _wait_for_return(case: PortState, mac: int, since: float) -> Generator[None, None, float | None]:
    """When the first probe that it answered again was sent; None where it does not within the patience. The patience
    begins anew when Enter is pressed, when the station's own cable is back, or, on a direct cable, with its carrier."""
    run = case.run
    run.enter()
    deadline = run.now + run.settings.patience
    case.ask(Action.PLUG, f"Plug the cable of {case.target.subject} in again", deadline)
    while (returned := case.answer_of(mac, since)) is None:
        unplugged = run.settings.direct and not run.carrier[0] and not run.settings.hands_free
        if case.pressed() or unplugged:
            deadline = run.now + run.settings.patience
        if not run.settings.direct and not run.carrier[0]:
            yield from _own_cable_back(case)
            deadline = run.now + run.settings.patience
        if run.now > deadline:
            return None
        yield
    return returned


def _own_cable_back(case: PortState) -> Steps:
    run = case.run
    case.warn("The station's own cable is out: plug it in again")
    until = run.now + run.settings.patience
    while not run.carrier[0]:
        if run.now > until:
            raise Cut("the station's own cable came out, and it could not be repeated", void=True)
        case.pressed()
        yield
    case.drops = run.drops


def _heard_enough(case: PortState) -> bool:
    """Enough broadcast requests that a second owner had its chance: 6-settled-details.md 35."""
    assert case.mac is not None
    if not case.run.scheduler.hears_all:
        return case.line.tally(ProbeKind.ECHO, case.returned, EVER, case.mac).sent >= LEAST_ARP[Phase.BACK]
    back = case.line.tally(ProbeKind.ARP, case.returned, EVER, case.mac).sent
    before = sum(result.arp.sent for result in case.results.values())
    return back >= LEAST_ARP[Phase.BACK] and unheard(before + back) <= case.run.settings.unheard


def put_back(case: PortState) -> Steps:
    """Nothing more is to be learned: see that the cable is back before the next port, at most for the patience."""
    assert case.mac is not None
    case.close()
    try:
        yield from _wait_for_return(case, case.mac, case.run.now)
    except Cut:
        return


def recover(case: PortState, why: str) -> Steps:
    """Wait until everything answers again, then let the phases be repeated; give up where that does not happen."""
    run = case.run
    assert case.mac is not None
    case.voids += 1
    case.out_did_not_count()
    case.request = EVER
    since, deadline = run.now, run.now + run.settings.patience
    case.ask(Action.RESTORE, "Put every cable back as it was; the phase is repeated", deadline)
    case.warn(f"This does not count: {why}")
    while not _all_answer(case, case.mac, since):
        if run.now > deadline or case.voids > TRIES:
            raise Cut(f"{why}, and it could not be repeated", void=True)
        case.pressed()
        yield
    case.drops = run.drops
    case.first = case.answer_of(case.mac, since) or run.now


def _all_answer(case: PortState, mac: int, since: float) -> bool:
    if not case.run.carrier[0] or case.answer_of(mac, since) is None:
        return False
    return all(line.answered_between(since) for line in case.all_controls)
