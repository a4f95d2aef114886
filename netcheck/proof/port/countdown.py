"""How much longer a cable must stay out, as far as can be said: for the person who holds it."""

from __future__ import annotations

from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER, ProbeKind
from netcheck.proof.probing.scheduler import ARP_EVERY, ECHO_EVERY
from netcheck.proof.result import Phase
from netcheck.proof.verdict.luck import luck

MOST = 300  # misses looked ahead


def seconds_left(case: PortState) -> float:
    """Seconds of silence still to come before it means something, if it goes on; 0 where it does already."""
    left = case.silence_least - (case.run.now - case.quiet_from)
    seen = case.results.get(Phase.IN)
    if case.cable == "carrier" or seen is None or case.mac is None:
        return max(0.0, left)
    looked = case.looked()
    growing = case.cable == "inferred" or case.quiet_from != case.out_from  # each further probe is looked at as well
    if case.run.scheduler.hears_all:
        asked = case.line.tally(ProbeKind.ARP, case.quiet_from, EVER, case.mac).sent
        left = max(left, (case.least_out - asked) * ARP_EVERY)
    for kind, before, every, tried in (
        (ProbeKind.ARP, seen.arp, ARP_EVERY, looked[0]),
        (ProbeKind.ECHO, seen.echo, ECHO_EVERY, looked[1]),
    ):
        missed = case.line.tally(kind, case.quiet_from, EVER, case.mac).sent
        if before.answered:
            chances = (
                luck(before.sent, before.answered, missed + more) * (tried + more * growing) for more in range(MOST)
            )
            left = max(left, next((n for n, chance in enumerate(chances) if chance <= case.limit), MOST) * every)
    return max(0.0, left)
