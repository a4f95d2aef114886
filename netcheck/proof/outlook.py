"""How much longer a cable must stay out, as far as can be said: for the person who holds it."""

from __future__ import annotations

from netcheck.proof.asking import ARP_EVERY, ECHO_EVERY
from netcheck.proof.case import Case
from netcheck.proof.lines import EVER, Kind
from netcheck.proof.luck import luck
from netcheck.proof.result import Phase

MOST = 300  # misses looked ahead


def seconds_left(case: Case) -> float:
    """Seconds of silence still to come before it means something, if it goes on; 0 where it does already."""
    left = case.silence_least - (case.bench.now - case.quiet_from)
    seen = case.results.get(Phase.IN)
    if case.cable == "carrier" or seen is None or case.mac is None:
        return max(0.0, left)
    looked = case.looked()
    growing = case.cable == "inferred" or case.quiet_from != case.out_from  # each further probe is looked at as well
    if case.bench.asker.hears_all:
        asked = case.line.tally(Kind.ARP, case.quiet_from, EVER, case.mac).sent
        left = max(left, (case.least_out - asked) * ARP_EVERY)
    for kind, before, every, tried in (
        (Kind.ARP, seen.arp, ARP_EVERY, looked[0]),
        (Kind.ECHO, seen.echo, ECHO_EVERY, looked[1]),
    ):
        missed = case.line.tally(kind, case.quiet_from, EVER, case.mac).sent
        if before.answered:
            chances = (
                luck(before.sent, before.answered, missed + more) * (tried + more * growing) for more in range(MOST)
            )
            left = max(left, next((n for n, chance in enumerate(chances) if chance <= case.limit), MOST) * every)
    return max(0.0, left)
