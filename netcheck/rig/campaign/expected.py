"""The right verdicts for a site, by its fault and by what the technician does with the cables.

`netcheck.rig.truth`, not this module, decides from the physical history whether a proof is deserved.
"""

from __future__ import annotations

from dataclasses import dataclass

from netcheck.proof.result import Verdict
from netcheck.rig.campaign.distribution import MILD, Fault
from netcheck.rig.network import Jack
from netcheck.rig.technicians import Habit, Hand
from netcheck.rig.truth import HEARABLE

V = Verdict
# Right whatever the technician does, because these faults are found with the cable in.
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
# Right if the right cable was pulled. With another habit, the verdicts that are right for that habit are right too.
WHEN_PULLED: dict[Fault, frozenset[Verdict]] = {
    Fault.SECOND_OUT: frozenset({V.IMPOSTOR}),
    Fault.SWAPPED: frozenset({V.SWAPPED}),
    Fault.RING: frozenset({V.STILL_ANSWERING}),
    Fault.FORGED_ARP: frozenset({V.STILL_ANSWERING}),
    Fault.UNKNOWN_CHAIN: frozenset({V.UNSETTLED}),
    Fault.DIES: frozenset({V.NOT_BACK, V.UNSETTLED}),  # with keys the run waits for it until it is stopped
    Fault.FLAPPING: frozenset({V.UNSETTLED, V.NOT_BACK, V.PROVEN}),
}
# With these no cable cuts the device off, another host has the address too, or the address belongs to another device.
NEVER_PROVEN = (Fault.RING, Fault.SECOND_OUT, Fault.SWAPPED, Fault.FORGED_ARP, Fault.DIES)
NAMING_A_CABLE = (Habit.WRONG, Habit.CORRECTED, Habit.NONE, Habit.STATION, Habit.ALWAYS_STATION, Habit.KEEPS)
HEALTHY = ("sound, no loss", "sound, loss 0-20 %", "sound, bursts 0-20 %")  # 99 in 100 of these should be proven


def right_for(habit: Habit, direct: bool, other: frozenset[Verdict]) -> frozenset[Verdict]:
    """Return the right verdicts for a technician at a sound site; `other` are those if the other cable is pulled."""
    match habit:
        case Habit.WRONG:
            return other
        case Habit.NONE:
            return frozenset({V.STILL_ANSWERING})
        case Habit.ALWAYS_SHORT:
            return frozenset({V.UNSETTLED, V.STILL_ANSWERING})
        case Habit.ALWAYS_STATION:
            return frozenset({V.UNSETTLED})
        case Habit.KEEPS | Habit.SLIPS:  # with keys the run waits until it is stopped
            return frozenset({V.NOT_BACK, V.UNSETTLED})
        case _:
            return frozenset({V.PROVEN})


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteFacts:
    """The properties of a drawn site that the right verdict depends on.

    `owner` is the cable of the device under test. `other` are the right verdicts if another cable is pulled. `since` is
    the time at which a second owner appears.
    """

    fault: Fault
    direct: bool
    owner: Jack
    other: frozenset[Verdict]
    known: bool  # the plan names MACs
    since: float = float("inf")
    loss: float = 0.0
    bursts: bool = False
    slow_start: bool = False  # the device or its switch port takes some seconds to start after the cable is in

    def right(self, hand: Hand, ended: float) -> frozenset[Verdict]:
        """Return the right verdicts for a run that ended at this time."""
        habitual = right_for(hand.habit, self.direct, self.other)
        if self.slow_start and hand.habit is Habit.ALWAYS_SHORT:
            habitual |= {V.PROVEN}  # the device was silent for longer than its cable was out
        fault = self.fault
        if self.bursts and hand.habit in (Habit.NONE, Habit.WRONG):
            habitual |= {V.UNSETTLED}  # bursts of loss look like a flapping link
        if fault is Fault.SECOND_LATER and self.since < ended - HEARABLE:
            fault = Fault.SECOND_ALWAYS
        elif fault is Fault.SECOND_LATER and self.since < ended:
            return habitual | AT_ONCE[Fault.SECOND_ALWAYS]
        if fault in AT_ONCE:
            # The second owner may answer alone, if the device loses every reply.
            alone = self.known and fault in (Fault.SECOND_ALWAYS, Fault.SECOND_AT_TIMES)
            return AT_ONCE[fault] | ({V.WRONG_HARDWARE} if alone else set())
        if fault not in WHEN_PULLED:
            return habitual
        right = WHEN_PULLED[fault]
        if hand.habit is Habit.RIGHT or (fault is Fault.SWAPPED and self.known):
            return right
        if hand.habit is Habit.CORRECTED:  # the wrong cable may decide before it is corrected
            right |= self.other
        if fault is Fault.SECOND_OUT:  # it answers whenever the cable is out, also when the cable should be in
            right |= {V.CONTESTED}
        return (right | habitual) - ({V.PROVEN} if fault in NEVER_PROVEN else set())

    def label(self, habit: Habit) -> str:
        """Return the class of the site: its fault, else the habit of the technician, else the loss."""
        if self.fault is not Fault.NONE:
            return str(self.fault)
        if habit is not Habit.RIGHT:
            return f"pulls {habit}" if habit in NAMING_A_CABLE else f"pulls it {habit}"
        if not self.loss:
            return HEALTHY[0]
        much = "0-20 %" if self.loss <= MILD else "20-60 %"
        return f"sound, {'bursts' if self.bursts else 'loss'} {much}"
