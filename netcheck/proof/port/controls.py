"""Controls of a silence: other addresses that must go on answering, else the whole switch may have fallen silent.

Every planned address of another device that answered before the silence is a control. The gateway alone is enough only
if no other device was heard. If a control falls silent at the same time as the port, it is not known which cable was
pulled: one cable may lead to both, or somebody pulled the cable of the control at the same moment. Then the phase is
repeated. If a control falls silent earlier or later, the two silences have different causes. It no longer counts as a
control, and the other controls decide.
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
    """Raised if controls fell silent at the same time as the port. `first`: the port fell silent before them."""

    def __init__(self, why: str, entries: list[AddressState], first: bool) -> None:
        super().__init__(why)
        self.entries, self.first = entries, first


def choose_controls(port: PortState) -> None:
    """Set the controls of the pull: the others that answered just before the silence or at the request."""
    pull = port.pull
    assert pull is not None
    until = min(pull.counted_from, port.run.now)
    since = min(port.last_sign(), until) - FRESH
    others, pull.gateway = port.run.companions(port.target, since, until)
    pull.controls = [*pull.living, *(entry for entry in others if entry not in pull.living)]
    pull.lost = {}


def check_controls(port: PortState) -> None:
    """Record each control that falls silent, with the time of its last answer.

    It is recorded now because it may answer again before this silence is evidence. Fewer misses are enough for a
    control whose last answer came at the same time as that of the port, because one cable may have silenced both.
    """
    pull = port.pull
    assert pull is not None
    for entry in pull.controls:
        if entry in pull.lost or not entry.answered:
            continue
        together = abs(entry.answered[-1] - pull.silent_from) <= _tolerance(port, entry)
        if port.run.fell(entry, HINT if together else LOST, 3):
            pull.lost[entry] = entry.answered[-1]


def counted_controls(port: PortState) -> list[AddressState]:
    """Return the controls that count.

    These are the other devices that answered before the silence; if there are none, those that answered since; if
    there are none either, the gateway.
    """
    pull = port.pull
    assert pull is not None
    if pull.controls:
        return pull.controls
    later, _ = port.run.companions(port.target, pull.counted_from - FRESH, port.run.now)
    return later or pull.all_controls


def fallen_together(port: PortState) -> list[AddressState]:
    """Return the controls that fell silent, or may have fallen silent, at the same time as the port.

    Controls that have answered again since are included. A control that has not answered since may have fallen silent.
    """
    pull = port.pull
    assert pull is not None
    newest = {entry: entry.answered[-1] for entry in counted_controls(port) if entry.answered}
    unheard = {entry: last for entry, last in newest.items() if last <= pull.silent_from + _tolerance(port, entry)}
    fell = unheard | {entry: last for entry, last in pull.lost.items() if entry in newest}
    return [entry for entry, last in fell.items() if not _apart(port, entry, last)]


def trusted(port: PortState) -> list[AddressState]:
    """Return the controls that went on answering: in the middle third and in the last third of the silence.

    The silence lasts several times the longest gap between answers. Its beginning and its end are therefore at most a
    third of its length away from those of the outage that caused it. If the control shared the outage, it was silent
    during the middle third, even if the outage ended before the silence was proven.
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
    """Return the exception that repeats the phase because these controls fell silent at the same time."""
    pull = port.pull
    assert pull is not None
    names = listed([port.run.label(entry) for entry in entries])
    last = min((entry.answered[-1] for entry in entries if entry.answered), default=EVER)
    return FellTogether(fell_together(names), entries, first=pull.silent_from < last)


def returned_together(port: PortState, entries: list[AddressState], since: float) -> list[AddressState]:
    """Return the controls among *entries* that answered again at the same time as the port."""
    assert port.mac is not None
    own = port.answer_of(port.mac, since)
    first = {entry: min((at for at in entry.answered if at >= since), default=EVER) for entry in entries}
    return [e for e, at in first.items() if own is not None and abs(at - own) <= _tolerance(port, e)]


def _tolerance(port: PortState, entry: AddressState) -> float:
    return SAME_TIME + (entry.longest_rtt or 0.0) + (port.entry.longest_rtt or 0.0)


def _apart(port: PortState, entry: AddressState, last: float) -> bool:
    """Return whether the port and a control with its last answer at *last* fell silent at different times.

    This is so if one of the two went on answering for so long that loss does not explain the misses of the other.
    """
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
