"""The truth about a site, from the simulation alone: whether its port deserves a proof, and which verdict is right.

Nothing here knows the judge. A proof is deserved where the address has one owner, the one that the plan means, where
the cable that leads to it was out after the request and long enough, and where it comes back.
"""

from __future__ import annotations

from dataclasses import dataclass

from netcheck.proof.result import Verdict
from netcheck.rig.habits import Habit, Hand
from netcheck.rig.lots import APART, MILD, Fault
from netcheck.rig.network import Jack

LATEST = 2.5  # seconds before the end by which a second owner must be there: two requests fall into them

V = Verdict
# Right whatever the technician does: these show with the cable in.
AT_ONCE: dict[Fault, frozenset[Verdict]] = {
    Fault.SECOND_ALWAYS: frozenset({V.CONTESTED, V.IMPOSTOR}),
    Fault.SECOND_AT_TIMES: frozenset({V.CONTESTED, V.IMPOSTOR}),
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
    Fault.DIES: frozenset({V.NOT_BACK}),
    Fault.FLAPPING: frozenset({V.UNSETTLED, V.NOT_BACK, V.PROVEN}),
}


def right_for(habit: Habit, direct: bool, other: frozenset[Verdict]) -> frozenset[Verdict]:
    """Verdicts that are right for a technician at a sound site; `other` is right where the other cable was pulled."""
    match habit:
        case Habit.WRONG:
            return other
        case Habit.NONE:
            return frozenset({V.STILL_ANSWERING})
        case Habit.ALWAYS_SHORT:
            return frozenset({V.UNSETTLED, V.STILL_ANSWERING})
        case Habit.ALWAYS_STATION:
            return frozenset({V.UNSETTLED})
        case Habit.KEEPS:  # an operator at a direct cable is waited for until the run is stopped
            return frozenset({V.NOT_BACK, V.UNSETTLED}) if direct else frozenset({V.NOT_BACK})
        case _:
            return frozenset({V.PROVEN})


@dataclass(eq=False)
class Truth:
    """What is true of a site. `owner` is the cable that leads to the device under test; `hollow` says that no proof is
    deserved whatever is pulled; `since` is when a second owner appears; `known` says that the plan names MACs."""

    fault: Fault
    direct: bool
    owner: Jack
    other: frozenset[Verdict]
    known: bool
    hollow: bool = False
    since: float = float("inf")
    loss: float = 0.0
    bursts: bool = False
    more: float = 0.0  # seconds that the device stays cut off once its cable is in: spanning tree, start, self-check

    @property
    def apart(self) -> bool:
        """No station could tell this site from one that deserves a proof."""
        return self.fault in APART

    def owned_twice(self, ended: float) -> bool:
        """A second owner was there in time to be heard."""
        return self.since < ended - LATEST

    def deserved(self, hand: Hand, ended: float) -> bool:
        """Say whether the port deserves a proof."""
        hollow = self.hollow or hand.habit is Habit.KEEPS or self.owned_twice(ended)
        return not hollow and hand.was_out(self.owner, ended, self.more)

    def right(self, hand: Hand, ended: float) -> frozenset[Verdict]:
        """The verdicts that name what is true."""
        habitual = right_for(hand.habit, self.direct, self.other)
        if self.more and hand.habit is Habit.ALWAYS_SHORT:
            habitual |= {V.PROVEN}  # however short it was out, the device was away for longer
        fault = self.fault
        if self.bursts and hand.habit in (Habit.NONE, Habit.WRONG):
            habitual |= {V.UNSETTLED}  # it says that the link is flapping
        if fault is Fault.SECOND_LATER and self.owned_twice(ended):
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
        if hand.habit is Habit.MENDED:  # the wrong cable shows first
            right |= self.other
        if fault is Fault.SECOND_OUT:  # it is heard whenever the cable is out, also while it should be in
            right |= {V.CONTESTED}
        return (right | habitual) - ({V.PROVEN} if self.hollow else set())

    def label(self, habit: Habit) -> str:
        """The scenario class: what is wrong, else what the technician does, else how much is lost."""
        if self.fault is not Fault.NONE:
            return str(self.fault)
        if habit is not Habit.RIGHT:
            return f"pulls {habit}" if habit in NAMING_A_CABLE else f"pulls it {habit}"
        if not self.loss:
            return HEALTHY[0]
        much = "0-20 %" if self.loss <= MILD else "20-60 %"
        return f"sound, {'bursts' if self.bursts else 'loss'} {much}"


NAMING_A_CABLE = (Habit.WRONG, Habit.MENDED, Habit.NONE, Habit.STATION, Habit.ALWAYS_STATION, Habit.KEEPS)
HEALTHY = ("sound, no loss", "sound, loss 0-20 %", "sound, bursts 0-20 %")  # of these, 99 in 100 are to be proven
