"""Controls of a silence: other addresses that must go on answering, so that it is not the whole switch that fell
silent.

Every planned address of another device that answered before the silence is a control; the gateway alone is enough only
if nothing else was heard.
"""

from __future__ import annotations

from netcheck.proof.port.state import LOST, PortState
from netcheck.proof.probing.address_state import AddressState
from netcheck.proof.run_state import FRESH


def choose_controls(port: PortState) -> None:
    """Take as controls the others that answered in the seconds before the silence, and those that answered at the
    request: one whose cable was pulled by mistake must be back before the silence can be this port's."""
    pull = port.pull
    assert pull is not None
    until = min(pull.quiet_from, port.run.now)
    since = min(port.last_sign(), until) - FRESH
    others, pull.gateway = port.run.companions(port.target, since, until)
    pull.controls = [*pull.living, *(entry for entry in others if entry not in pull.living)]
    pull.lost = []


def check_controls(port: PortState) -> None:
    """Note each control that fell silent: it may be back before this silence is evidence."""
    pull = port.pull
    assert pull is not None
    pull.lost += [entry for entry in pull.controls if entry not in pull.lost and port.run.fell(entry, LOST, 3)]


def counted_controls(port: PortState) -> list[AddressState]:
    """Return the controls that count: other devices; where none had answered before the silence, those heard since;
    the gateway only where nothing else was heard at all."""
    pull = port.pull
    assert pull is not None
    if pull.controls:
        return pull.controls
    later, _ = port.run.companions(port.target, pull.quiet_from - FRESH, port.run.now)
    return later or pull.all_controls


def doubtful(port: PortState) -> list[AddressState]:
    """Return the controls that have not gone on answering, in the middle third of the silence and in the last.

    A silence begins and ends up to a third of itself away from the outage that is its cause, since it lasts several
    times the longest gap between answers: an outage that took the control with it covers the middle third, even
    where it was over before the silence was proven.
    """
    pull = port.pull
    assert pull is not None
    third = (port.run.now - pull.silent_from) / 3
    middle, last = pull.silent_from + third, pull.silent_from + 2 * third
    return [
        entry
        for entry in counted_controls(port)
        if entry in pull.lost or not (entry.answered_between(middle, last) and entry.answered_between(last))
    ]


def everything_fell(port: PortState) -> bool:
    """Say whether every control has fallen silent as well."""
    controls = [] if port.pull is None else port.pull.all_controls
    return bool(controls) and all(port.run.fell(entry) for entry in controls)
