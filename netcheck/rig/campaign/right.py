"""Which verdicts name what is true of a site: by its fault, and by what the technician does with the cables.

Whether a proof is deserved is not decided here, but by `netcheck.rig.truth` from the physical history.
"""

from __future__ import annotations

from dataclasses import dataclass

from netcheck.proof.result import Verdict
from netcheck.rig.campaign.lots import MILD, Fault
from netcheck.rig.network import Jack
from netcheck.rig.technicians import Habit, Hand
from netcheck.rig.truth import HEARABLE

V = Verdict
# Right whatever the technician does: these show with the cable in.
AT_ONCE: dict[Fault, frozenset[Verdict]] = {
    Fault.SECOND_ALWAYS: frozenset({V.CONTESTED, V.IMPOSTOR}),
    Fault.SECOND_AT_TIMES: frozenset({V.CONTESTED, V.IMPOSTOR}),
    Fault.SECOND_FAINT: frozenset({V.CONTESTED, V.IMPOSTOR}),
    Fault.PROXY: frozenset({V.RELAYED, V.CONTESTED}),
    Fault.NAMEPLATE: frozenset({V.WRONG_HARDWARE}),
    Fault.STALE: frozenset({V.SILENT}),
    Fault.ABSENT: frozenset({V.SILENT}),
    Fault.DEAF: frozenset({V.SILENT}),
    Fault.WEAK: frozenset({V.CONTESTED, V.SWAPPED, V.STILL_ANSWERING}),
    Fault.ECHO_ELSEWHERE: frozenset({V.RELAYED}),
}
# Right where the right cable was pulled; with another habit, what is right for that habit is right as well.
WHEN_PULLED: dict[Fault, frozenset[Verdict]] = {
    Fault.SECOND_OUT: frozenset({V.IMPOSTOR}),
    Fault.SWAPPED: frozenset({V.SWAPPED}),
    Fault.RING: frozenset({V.STILL_ANSWERING}),
    Fault.FORGED_ARP: frozenset({V.STILL_ANSWERING}),
    Fault.UNKNOWN_CHAIN: frozenset({V.UNSETTLED}),
    Fault.DIES: frozenset({V.NOT_BACK, V.UNSETTLED}),  # with keys it is waited for until the run is stopped
    Fault.FLAPPING: frozenset({V.UNSETTLED, V.NOT_BACK, V.PROVEN}),
}
# At these either no cable cuts the device off, or another host owns the address too, or it is another device's.
NEVER_PROVEN = (Fault.RING, Fault.SECOND_OUT, Fault.SWAPPED, Fault.FORGED_ARP, Fault.DIES)
NAMING_A_CABLE = (Habit.WRONG, Habit.CORRECTED, Habit.NONE, Habit.STATION, Habit.ALWAYS_STATION, Habit.KEEPS)
HEALTHY = ("sound, no loss", "sound, loss 0-20 %", "sound, bursts 0-20 %")  # 99 in 100 of these are to be proven


def right_for(habit: Habit, direct: bool, other: frozenset[Verdict]) -> frozenset[Verdict]:
    """Return the verdicts that are right for a technician at a sound site; `other` where the other cable was pulled."""
    match habit:
        case Habit.WRONG:
            return other
        case Habit.NONE:
            return frozenset({V.STILL_ANSWERING})
        case Habit.ALWAYS_SHORT:
            return frozenset({V.UNSETTLED, V.STILL_ANSWERING})
        case Habit.ALWAYS_STATION:
            return frozenset({V.UNSETTLED})
        case Habit.KEEPS | Habit.SLIPS:  # an operator is waited for until the run is stopped
            return frozenset({V.NOT_BACK, V.UNSETTLED})
        case _:
            return frozenset({V.PROVEN})


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteFacts:
    """What was drawn of a site, as far as the right verdict depends on it. `owner` is the cable of the device under
    test, `other` the verdicts that are right where another cable is pulled. A second owner appears at `since`."""

    fault: Fault
    direct: bool
    owner: Jack
    other: frozenset[Verdict]
    known: bool  # the plan names MACs
    since: float = float("inf")
    loss: float = 0.0
    bursts: bool = False
    slow_start: bool = False  # the device or its switch port takes a while once the cable is in

    def right(self, hand: Hand, ended: float) -> frozenset[Verdict]:
        """Return the verdicts that name what is true, for a run that ended at this time."""
        habitual = right_for(hand.habit, self.direct, self.other)
        if self.slow_start and hand.habit is Habit.ALWAYS_SHORT:
            habitual |= {V.PROVEN}  # however short it was out, the device was away for longer
        fault = self.fault
        if self.bursts and hand.habit in (Habit.NONE, Habit.WRONG):
            habitual |= {V.UNSETTLED}  # it says that the link is flapping
        if fault is Fault.SECOND_LATER and self.since < ended - HEARABLE:
            fault = Fault.SECOND_ALWAYS
        elif fault is Fault.SECOND_LATER and self.since < ended:
            return habitual | AT_ONCE[Fault.SECOND_ALWAYS]
        if fault in AT_ONCE:
            alone = self.known and fault in (Fault.SECOND_ALWAYS, Fault.SECOND_AT_TIMES)  # a lossy device stays unheard
            return AT_ONCE[fault] | ({V.WRONG_HARDWARE} if alone else set())
        if fault not in WHEN_PULLED:
            return habitual
        right = WHEN_PULLED[fault]
        if hand.habit is Habit.RIGHT or (fault is Fault.SWAPPED and self.known):
            return right
        if hand.habit is Habit.CORRECTED:  # the wrong cable shows first
            right |= self.other
        if fault is Fault.SECOND_OUT:  # it is heard whenever the cable is out, also while it should be in
            right |= {V.CONTESTED}
        return (right | habitual) - ({V.PROVEN} if fault in NEVER_PROVEN else set())

    def label(self, habit: Habit) -> str:
        """Return the class of the site: its fault, else what the technician does, else how much is lost."""
        if self.fault is not Fault.NONE:
            return str(self.fault)
        if habit is not Habit.RIGHT:
            return f"pulls {habit}" if habit in NAMING_A_CABLE else f"pulls it {habit}"
        if not self.loss:
            return HEALTHY[0]
        much = "0-20 %" if self.loss <= MILD else "20-60 %"
        return f"sound, {'bursts' if self.bursts else 'loss'} {much}"
