"""Estimates how much longer a cable must stay out, for the display."""

from __future__ import annotations

from netcheck.addr import mac_text
from netcheck.proof.port.state import PortState
from netcheck.proof.result import Phase
from netcheck.proof.verdict.silence_rule import ARP_EVERY, Confirmed, seconds_left


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
    unconfirmed = pull.cable == "inferred" or pull.quiet_from != pull.out_from
    misses = seconds_left(
        before, (arps.sent, echoes.sent), port.looked(), port.limit_of(pull),
        growing=unconfirmed and pull.confirmed is not Confirmed.CARRIER,
    )  # fmt: skip
    return max(0.0, left, misses)


def progress(port: PortState) -> str:
    """Return the figures of a port under test as one line, empty while nothing has answered."""
    if port.mac is None:
        return ""
    if port.phase is Phase.OUT:
        arps, echoes = port.missed()
        return (
            f"silent for {port.silent_for:.0f} s, about {seconds_to_hold(port):.0f} s more; {arps.sent} ARP and "
            f"{echoes.sent} echo requests unanswered"
        )
    answers = sum(port.mac in probe.answers for probe in port.entry.probes)
    return f"{mac_text(port.mac)}: {answers} answers to {len(port.entry.probes)} probes"
