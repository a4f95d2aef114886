"""What a run does at one moment, as values for the screen.

A view is computed from the run's state whenever it is drawn, and never kept, so that nothing outdated stays on the
screen.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import assert_never

from netcheck.proof.events import Action
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER
from netcheck.proof.result import Phase
from netcheck.proof.run_state import CableRequest, RunState, Wait
from netcheck.proof.targets import Target
from netcheck.proof.verdict.silence_rule import ARP_EVERY, Confirmed, seconds_left


class Step(StrEnum):
    """Where a port stands."""

    PLUG_IN_FIRST = "plug in first"  # its cable is asked for at the beginning
    MOVE = "move"  # the cable is to be moved to it
    LISTEN = "listen"  # the cable should be in, and an answer is waited for
    ANSWERS = "answers"
    PULL = "pull"
    OUT = "out"  # silent: leave the cable out
    PLUG_IN = "plug in"
    RETURNING = "returning"  # said to be in again, and an answer is waited for
    BACK = "back"  # it answers again
    SEEN = "seen"  # on a walk: pulled once, the second request follows
    RESTORE = "restore"  # cables are to be put back


OF_ACTION = {
    Action.CONNECT: Step.PLUG_IN_FIRST,
    Action.MOVE: Step.MOVE,
    Action.PULL: Step.PULL,
    Action.PLUG: Step.PLUG_IN,
    Action.RESTORE: Step.RESTORE,
}
CABLE_OUT = (Step.OUT, Step.PLUG_IN, Step.RETURNING)


@dataclass(frozen=True, slots=True, kw_only=True)
class PortView:
    """A port that is not settled. `text` is the request or what is waited for, `until` its deadline on the link's
    clock. `needed` is how many more seconds the silence must last, None where that is not known. `asked` and `answered`
    count the requests of the phase that are decided; `mac` is who answers."""

    subject: str
    step: Step
    text: str = ""
    until: float | None = None
    silent: float = 0.0
    needed: float | None = None
    asked: int = 0
    answered: int = 0
    mac: int | None = None
    other: Target | None = None  # where it is none of the ports that are to be proven


@dataclass(frozen=True, slots=True, kw_only=True)
class RunView:
    """A run at one moment. `general` is a request that names no port, `out` names devices that answered before and are
    silent now although nobody is asked to leave their cables out. A warning that `holds` is true now, any other gives
    the reason of the request. `following` is the port whose turn is next, once nothing is
    to be done at the present one but to wait."""

    ports: tuple[PortView, ...] = ()
    following: Target | None = None
    general: str = ""
    general_step: Step | None = None
    warning: str = ""
    holds: bool = False
    out: tuple[str, ...] = ()
    station_out: bool = False  # the computer's own cable has no link, through a switch


def run_view(run: RunState, ports: Iterable[PortView], following: Target | None = None) -> RunView:
    """Return the view of a run with these open ports; *following* is the port whose turn is next."""
    views = tuple(ports)
    tested = {view.subject for view in views if view.step in (*CABLE_OUT, Step.MOVE)}
    general = run.requests.get("") or run.waits.get("")
    warning = run.warning_now()
    return RunView(
        ports=views,
        following=following,
        general="" if general is None else general.text,
        general_step=OF_ACTION.get(general.action) if isinstance(general, CableRequest) else None,
        warning="" if warning is None else warning.text,
        holds=warning is not None and warning.holds,
        out=_still_out(run, tested),
        station_out=not run.options.direct and not run.carrier[0],
    )


def _still_out(run: RunState, tested: set[str]) -> tuple[str, ...]:
    """Return the interfaces that fell silent, apart from the ports whose cable is to be out now, and from what hangs
    behind them or is unplugged for a second connector."""
    if run.options.direct:
        return ()  # one cable for all ports: every other device is silent
    out = [target for target in run.scope.targets if target.subject in tested]
    fallen = [run.owner_of.get(entry.address) for entry in run.watched.values() if run.is_out(entry)]
    return tuple(
        "the gateway" if target is None else target.interface
        for target in fallen
        if target is None or not is_to_be_out(run, target, out)
    )


def is_to_be_out(run: RunState, target: Target, out: Iterable[Target] = ()) -> bool:
    """Return whether a device is to be silent now: its own cable is one of these, or it hangs behind one, or behind the
    connector to which a cable was moved."""
    if run.moved is not None and target.behind == run.moved.subject:
        return True
    return any(target.interface == one.interface or run.hangs_behind(target, one) for one in out)


def port_view(port: PortState) -> PortView:
    """Return the view of a port under test."""
    request = port.run.requests.get(port.target.subject)
    step = _phase_step(port) if request is None else OF_ACTION.get(request.action, Step.LISTEN)
    asked, answered = _counted(port, step)
    waited: CableRequest | Wait | None = request or port.run.waits.get(port.target.subject)
    text = "" if waited is None else waited.text
    if step is Step.OUT:
        waited, text = None, ""
    elif step is Step.PULL and request is None:
        waited, text = None, f"Pull the cable of {port.target.subject}"
    return PortView(
        subject=port.target.subject,
        step=step,
        text=text,
        until=None if waited is None else waited.until,
        silent=port.silent_for if step is Step.OUT else 0.0,
        needed=seconds_to_hold(port) if step is Step.OUT else None,
        asked=asked,
        answered=answered,
        mac=port.mac,
    )


def request_view(run: RunState, target: Target) -> PortView:
    """Return the view of a port that is not under test and whose cable is asked for."""
    request = run.requests.get(target.subject)
    if request is None:
        return PortView(subject=target.subject, step=Step.LISTEN)
    return PortView(
        subject=target.subject,
        step=OF_ACTION[request.action],
        text=request.text,
        until=request.until,
        other=target,
    )


def _phase_step(port: PortState) -> Step:
    """Return where a port stands for which nothing is asked of the technician."""
    match port.phase:
        case Phase.IN:
            if port.mac is None:
                return Step.LISTEN
            return Step.SEEN if port.was_seen else Step.ANSWERS
        case Phase.OUT:
            return Step.PULL if port.answers_when_out() else Step.OUT
        case Phase.BACK:
            return Step.BACK if port.pull is not None and port.pull.returned < EVER else Step.RETURNING
        case _ as other:
            assert_never(other)


def _counted(port: PortState, step: Step) -> tuple[int, int]:
    """Return how many requests of the phase are decided, and how many of these were answered."""
    if port.mac is None or step in (Step.OUT, Step.PLUG_IN):
        return 0, 0
    since = port.pull.returned if step is Step.BACK and port.pull is not None else port.first
    decided = [probe for probe in port.entry.probes if probe.sent >= since and (probe.answers or probe.settled)]
    return len(decided), sum(port.mac in probe.answers for probe in decided)


def seconds_to_hold(port: PortState) -> float:
    """Return the seconds that the silence must still last until it is evidence; 0 if it is evidence already."""
    pull, before = port.pull, port.results.get(Phase.IN)
    if pull is None or not pull.out:
        return 0.0
    left = pull.needed - (port.run.now - pull.silent_from)
    if pull.cable == "carrier" or before is None or port.mac is None:
        return max(0.0, left)
    arps, echoes = port.missed()
    if port.run.scheduler.hears_all:
        left = max(left, (port.arps_needed() - arps.sent) * ARP_EVERY)
    unconfirmed = pull.cable == "inferred" or pull.quiet_from != pull.out_from
    misses = seconds_left(
        pull.confirmed, before, (arps.sent, echoes.sent), port.looked(), port.limit_of(pull),
        growing=unconfirmed and pull.confirmed is not Confirmed.CARRIER,
    )  # fmt: skip
    return max(0.0, left, misses)
