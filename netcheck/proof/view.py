"""The state of a run at one moment, as values for the screen.

A view is computed from the state of the run each time the screen is drawn. It is never kept, so the screen shows
nothing outdated.
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
    """The step that a port is at."""

    PLUG_IN_FIRST = "plug in first"  # the technician is asked to plug its cable in
    MOVE = "move"  # the technician is asked to move the cable to it
    LISTEN = "listen"  # its cable should be in; the run waits for an answer
    ANSWERS = "answers"  # it answers; its answers are counted
    PULL = "pull"  # the technician is asked to pull its cable
    OUT = "out"  # it is silent; its cable must stay out
    PLUG_IN = "plug in"  # the technician is asked to plug its cable in again
    RETURNING = "returning"  # its cable should be in again; the run waits for an answer
    BACK = "back"  # it answers again
    SEEN = "seen"  # on a walk: pulled once, the second request follows
    RESTORE = "restore"  # the technician is asked to put cables back


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
    """A port that is not settled.

    `text` is the request or the reason to wait, and `until` its deadline on the link's clock. `silent` is the seconds
    of silence so far, and `needed` the seconds that it must still last, None if that is not known. `asked` and
    `answered` count the completed requests of the phase. `mac` is the MAC that answers.
    """

    subject: str
    step: Step
    text: str = ""
    until: float | None = None
    silent: float = 0.0
    needed: float | None = None
    asked: int = 0
    answered: int = 0
    mac: int | None = None
    other: Target | None = None  # the port itself, if it is not under test and only its cable is asked for


@dataclass(frozen=True, slots=True, kw_only=True)
class RunView:
    """A run at one moment.

    - `following`: the port whose turn is next, once the present port only needs to come back.
    - `general`: a request or a wait that belongs to no port.
    - `warning`: if it `holds`, it is true now; else it is the reason of a request.
    - `out`: devices that answered before and are silent now, and whose cables should not be out.
    """

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


def may_be_out(view: RunView) -> tuple[str, ...]:
    """Return the ports whose cables a person may have pulled and not plugged in again, and the interfaces still out."""
    ports = tuple(port.subject for port in view.ports if port.step in (*CABLE_OUT, Step.PULL, Step.MOVE, Step.RESTORE))
    return (*ports, *(name for name in view.out if not any(port.startswith(f"{name}:") for port in ports)))


def _still_out(run: RunState, tested: set[str]) -> tuple[str, ...]:
    """Return the interfaces that fell silent although their cables should be in.

    Left out are the ports whose cables are out on request, the interfaces behind them, and the interfaces that are
    unplugged for a second connector.
    """
    if run.options.direct:
        return ()  # all ports share one cable, so every other device is silent
    out = [target for target in run.scope.targets if target.subject in tested]
    fallen = [run.owner_of.get(entry.address) for entry in run.watched.values() if run.is_out(entry)]
    return tuple(
        "the gateway" if target is None else target.interface
        for target in fallen
        if target is None or not is_to_be_out(run, target, out)
    )


def is_to_be_out(run: RunState, target: Target, out: Iterable[Target] = ()) -> bool:
    """Return whether a device should be silent now.

    Its own cable is among *out*, or it is attached behind one of these ports or behind the connector to which a cable
    was moved.
    """
    if run.moved is not None and target.behind == run.moved.subject:
        return True
    return any(target.interface == one.interface or run.is_behind_interface(target, one) for one in out)


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
    """Return the view of a port that is not under test and whose cable must be plugged in again."""
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
    """Return the step of a port that has no request to the technician."""
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
    """Return how many probes of the phase are completed, and how many of these were answered."""
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
    unconfirmed = pull.cable == "inferred" or pull.counted_from != pull.out_from
    misses = seconds_left(
        pull.confirmed, before, (arps.sent, echoes.sent), port.searched(), port.limit_of(pull),
        growing=unconfirmed and pull.confirmed is not Confirmed.CARRIER,
    )  # fmt: skip
    return max(0.0, left, misses)
