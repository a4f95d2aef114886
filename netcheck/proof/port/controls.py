"""Controls of a silence: other addresses that must go on answering, so that it is not the whole switch that fell
silent.

Every planned address of another device that answered before the silence is a control; the gateway alone is enough only
if nothing else was heard. A control that falls silent at the same time leaves open which cable was pulled: one cable
may lead to both, or somebody pulled its cable at the same moment. Then the phase is repeated. A control that falls
silent earlier or later has a cause of its own; it is no control any more, and the others decide.
"""

from __future__ import annotations

from math import prod

from netcheck.proof.port.answers import WINDOW
from netcheck.proof.port.state import LOST, PortState
from netcheck.proof.probing.address_state import EVER, AddressState
from netcheck.proof.result import Phase, Tally
from netcheck.proof.run_state import FRESH, HINT, Void
from netcheck.proof.verdict.observation import SAME_TIME
from netcheck.proof.verdict.rows import fell_together
from netcheck.proof.verdict.silence_rule import luck
from netcheck.text import listed


class FellTogether(Void):
    """Raised if controls fell silent at the same time as the port. `first` says that the port fell before them."""

    def __init__(self, why: str, entries: list[AddressState], first: bool) -> None:
        super().__init__(why)
        self.entries, self.first = entries, first


def choose_controls(port: PortState) -> None:
    """Take as controls the others that answered in the seconds before the silence, and those that answered at the
    request."""
    pull = port.pull
    assert pull is not None
    until = min(pull.quiet_from, port.run.now)
    since = min(port.last_sign(), until) - FRESH
    others, pull.gateway = port.run.companions(port.target, since, until)
    pull.controls = [*pull.living, *(entry for entry in others if entry not in pull.living)]
    pull.lost = {}


def check_controls(port: PortState) -> None:
    """Note when each control that fell silent had answered last: it may be back before this silence is evidence. Of a
    control that answered last when the port did, fewer misses are enough: one cable may have silenced both."""
    pull = port.pull
    assert pull is not None
    for entry in pull.controls:
        if entry in pull.lost or not entry.answered:
            continue
        together = abs(entry.answered[-1] - pull.silent_from) <= _tolerance(port, entry)
        if port.run.fell(entry, HINT if together else LOST, 3):
            pull.lost[entry] = entry.answered[-1]


def counted_controls(port: PortState) -> list[AddressState]:
    """Return the controls that count: other devices; where none had answered before the silence, those heard since;
    the gateway only where nothing else was heard at all."""
    pull = port.pull
    assert pull is not None
    if pull.controls:
        return pull.controls
    later, _ = port.run.companions(port.target, pull.quiet_from - FRESH, port.run.now)
    return later or pull.all_controls


def fallen_together(port: PortState) -> list[AddressState]:
    """Return the controls that fell silent at the same time as the port, even if they came back, or may have: those
    that have not answered since."""
    pull = port.pull
    assert pull is not None
    newest = {entry: entry.answered[-1] for entry in counted_controls(port) if entry.answered}
    unheard = {entry: last for entry, last in newest.items() if last <= pull.silent_from + _tolerance(port, entry)}
    fell = unheard | {entry: last for entry, last in pull.lost.items() if entry in newest}
    return [entry for entry, last in fell.items() if not _apart(port, entry, last)]


def trusted(port: PortState) -> list[AddressState]:
    """Return the controls that went on answering, in the middle third of the silence and in the last.

    The silence lasts several times the longest gap between answers, so that it begins and ends at most a third of its
    length away from the outage that caused it. An outage that the control shared therefore covers the middle third,
    even if it ended before the silence was proven.
    """
    pull = port.pull
    assert pull is not None
    third = (port.run.now - pull.silent_from) / 3
    middle, last = pull.silent_from + third, pull.silent_from + 2 * third
    together = fallen_together(port)
    return [
        entry
        for entry in counted_controls(port)
        if entry not in together and entry.answered_between(middle, last) and entry.answered_between(last)
    ]


def to_repeat(port: PortState, entries: list[AddressState]) -> FellTogether:
    """Return the reason to repeat the phase because of controls that fell silent at the same time."""
    pull = port.pull
    assert pull is not None
    names = listed([port.run.word(entry) for entry in entries])
    last = min((entry.answered[-1] for entry in entries if entry.answered), default=EVER)
    return FellTogether(fell_together(names), entries, first=pull.silent_from < last)


def returned_together(port: PortState, entries: list[AddressState], since: float) -> list[AddressState]:
    """Return those of the controls that answered again at the same time as the port."""
    assert port.mac is not None
    own = port.answer_of(port.mac, since)
    first = {entry: min((at for at in entry.answered if at >= since), default=EVER) for entry in entries}
    return [e for e, at in first.items() if own is not None and abs(at - own) <= _tolerance(port, e)]


def _tolerance(port: PortState, entry: AddressState) -> float:
    return SAME_TIME + (entry.longest_rtt or 0.0) + (port.entry.longest_rtt or 0.0)


def _apart(port: PortState, entry: AddressState, last: float) -> bool:
    """Return whether a control that answered last at this time fell silent for another reason: one of the two went on
    answering for so long that the other cannot merely have lost its replies."""
    pull = port.pull
    assert pull is not None
    begun = pull.silent_from
    if abs(last - begun) <= _tolerance(port, entry) or port.mac is None or entry.mac is None:
        return False
    if last > begun:
        before = port.results[Phase.IN].arp, port.results[Phase.IN].echo
        return _chance(before, port.entry.tallies(begun + 1e-6, last, port.mac)) <= LOST
    answered = entry.tallies(last - WINDOW, last + 1e-6, entry.mac)
    return _chance(answered, entry.tallies(last + 1e-6, begun, entry.mac)) <= LOST


def _chance(before: tuple[Tally, Tally], missed: tuple[Tally, Tally]) -> float:
    pairs = zip(before, missed, strict=True)
    return prod(luck(seen.sent, seen.answered, later.sent - later.answered) for seen, later in pairs if seen.answered)


def everything_fell(port: PortState) -> bool:
    """Return whether every control has fallen silent as well."""
    controls = [] if port.pull is None else port.pull.all_controls
    return bool(controls) and all(port.run.fell(entry) for entry in controls)
