"""The truth about a site, from the simulation alone: whether its port deserves a proof, and which verdict is right.

Nothing here knows the judge. A proof is deserved where the address has one owner, the one that the plan means, where
the cable that leads to it was out after the request and long enough, and where it comes back.
"""

from __future__ import annotations

from dataclasses import dataclass

from netcheck.proof.result import Verdict
from netcheck.rig.campaign.lots import APART, MILD, Fault
from netcheck.rig.network import Jack
from netcheck.rig.technicians import Habit, Hand, Span

LATEST = 2.5  # seconds that a second owner must be there before the end: two requests fall into them

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
    Fault.DIES: frozenset({V.NOT_BACK}),
    Fault.FLAPPING: frozenset({V.UNSETTLED, V.NOT_BACK, V.PROVEN}),
}

CUT_OFF_OR_ALONE = (
    Fault.RING,
    Fault.SECOND_OUT,
)  # at these either no cable cuts the device off, or another owns it too


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
class SiteTruth:
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
    flaps: tuple[Span, ...] = ()  # times that the cable's worn contact lets go by itself
    restart: Span = (float("inf"), float("inf"))  # when the device is silent by itself

    def apart(self, hand: Hand, ended: float) -> bool:
        """No station could tell this site from one that deserves a proof."""
        return self.fault in APART or self._coincides(hand, ended) or self._faint(hand, ended)

    def _faint(self, hand: Hand, ended: float) -> bool:
        """The second owner was there too shortly to be heard, and the device was silent for longer than that."""
        moment = self.fault is Fault.SECOND_OUT and not self._never(hand, ended)
        return moment and hand.was_out(self.owner, ended, self.more, self.flaps)

    def _coincides(self, hand: Hand, ended: float) -> bool:
        """The device restarted by itself while its silence was waited for, and no cable had cut it off: none that leads
        to it was out, or in a ring it went on the other way round."""
        began, over = self.restart
        if began >= ended or over <= hand.requested or self._foreign(hand, ended):
            return False
        return self.fault is Fault.RING or not hand.was_out(self.owner, ended, self.more, self.flaps)

    def owned_twice(self, ended: float) -> bool:
        """A second owner was there in time to be heard."""
        return self.since < ended - LATEST

    def deserved(self, hand: Hand, ended: float) -> bool:
        """Say whether the port deserves a proof."""
        if self.fault in CUT_OFF_OR_ALONE or self._never(hand, ended):
            return False
        return hand.was_out(self.owner, ended, self.more, self.flaps)

    def _never(self, hand: Hand, ended: float) -> bool:
        """No proof is deserved whatever was silent."""
        return hand.habit is Habit.KEEPS or self._foreign(hand, ended)

    def _foreign(self, hand: Hand, ended: float) -> bool:
        """Somebody else had the address, or the device is not the one that is meant."""
        beside_it = self.fault is Fault.SECOND_OUT and hand.seconds_out(self.owner, ended) >= LATEST
        return self.hollow or beside_it or self.owned_twice(ended)

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
        return (right | habitual) - ({V.PROVEN} if self.hollow or fault in CUT_OFF_OR_ALONE else set())

    def label(self, hand: Hand, ended: float) -> str:
        """The scenario class: what is wrong, else what the technician does, else how much is lost."""
        habit = hand.habit
        if self._coincides(hand, ended):
            return str(Fault.COINCIDENCE)
        if self._faint(hand, ended):
            return str(Fault.SECOND_FAINT)
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
