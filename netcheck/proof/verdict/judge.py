"""The judge: turns the observation of a port into a verdict and a sentence.

It is a table that is read from the top; the first row that applies decides. The same observation and names give the
same proof.
"""

from __future__ import annotations

from netcheck.addr import quad
from netcheck.proof.result import Other, Phase, Proof, Verdict
from netcheck.proof.settings.model import wrong_of
from netcheck.proof.verdict import rows
from netcheck.proof.verdict.names import Names
from netcheck.proof.verdict.observation import Observation
from netcheck.proof.verdict.rows import Row
from netcheck.proof.verdict.silence_rule import figures, kinds_that_count
from netcheck.text import listed

TABLE: tuple[tuple[Verdict, Row], ...] = (
    (Verdict.NOT_TESTED, rows.not_tested),
    (Verdict.SILENT, rows.silent),
    (Verdict.CONTESTED, rows.contested),
    (Verdict.RELAYED, rows.relayed),
    (Verdict.SWAPPED, rows.swapped),
    (Verdict.WRONG_HARDWARE, rows.wrong_hardware),
    (Verdict.IMPOSTOR, rows.impostor),
    (Verdict.STILL_ANSWERING, rows.still_answering),
    (Verdict.SKIPPED, rows.skipped),
    (Verdict.UNSETTLED, rows.unsettled),
    (Verdict.NOT_BACK, rows.not_back),
    (Verdict.WRONG_SETTINGS, rows.wrong_settings),
    (Verdict.PROVEN, rows.proven),
)
# Verdicts that phase in alone decides: then no cable is pulled in vain. After phase out every verdict above `not-back`
# is final.
DECIDED_IN = (Verdict.CONTESTED, Verdict.RELAYED, Verdict.SWAPPED, Verdict.WRONG_HARDWARE)


def verdict(seen: Observation, names: Names) -> tuple[Verdict, str]:
    """Return the verdict of the first row that applies, with its sentence."""
    return next((found, why) for found, row in TABLE if (why := row(seen, names)))


def judge(seen: Observation, names: Names) -> Proof:
    """Return the proof of a port."""
    found, why = verdict(seen, names)
    wrong = wrong_of(seen.evidence)
    if wrong and found is not Verdict.WRONG_SETTINGS:
        why = f"{why} Its settings differ from the plan as well: {listed([said for said, _ in wrong])}."
    return Proof(
        interface=seen.target.interface,
        port=seen.target.port,
        address=seen.target.address_text,
        verdict=found,
        why=why,
        mac=seen.mac if seen.mac is not None else seen.anonymous,
        vendor=None if seen.mac is None else names.vendor(seen.mac),
        echo=None if seen.mac is None else "answered" if _echoed(seen) else "blocked",
        cable=seen.cable,
        connector=seen.connector if seen.phases else None,
        identity=None if seen.mac is None else "planned" if seen.mac == seen.target.mac else "learned",
        luck=seen.luck if Phase.OUT in dict(seen.phases) else None,
        unheard=seen.unheard,
        others=_others(seen, names),
        phases=seen.phases,
        notes=_notes(seen, found, names),
        evidence=seen.evidence,
    )


def _echoed(seen: Observation) -> bool:
    return any(result.echo.answered for _, result in seen.phases)


def _others(seen: Observation, names: Names) -> tuple[Other, ...]:
    """Return every other MAC heard for the address, and every MAC heard for an address that nobody should own."""
    heard = [(o.mac, seen.target.address, str(o.phase)) for o in seen.owners if o.mac != seen.mac]
    heard += [(mac, address, str(Phase.IN)) for address, mac in seen.negatives]
    return tuple(Other(mac, address, phase, names.known_as(mac)) for mac, address, phase in dict.fromkeys(heard))


def _notes(seen: Observation, found: Verdict, names: Names) -> tuple[str, ...]:
    answered, by_echo = seen.mac is not None, _by_echo_alone(seen)
    notes = (
        (answered and not _echoed(seen), "echo: blocked; it answers ARP alone"),
        (seen.once, "accepted after one pull that nobody asked for (--once)"),
        (seen.cable == "inferred", f"cable: inferred from the silence after the request; {_who_confirmed(seen)}"),
        (bool(by_echo), by_echo),
        (seen.first_after > 5, f"the first answer came after {seen.first_after:.0f} s"),
        (
            answered and bool(seen.head_start),
            f"phase in: counted from {seen.head_start:.0f} s before its turn, while the port before it came back",
        ),
        (bool(seen.forged), f"{seen.forged} echo replies match no probe of this run and were not counted"),
        (
            answered and not seen.cut and seen.no_negative,
            "the subnet has no free address to test for proxy ARP",
        ),
        (seen.direct and bool(seen.strangers), "other devices were heard on the direct cable"),
        (
            bool(seen.lost_frames),
            f"{seen.lost_frames} frames were dropped unread since the cable was first out",
        ),
    )
    unlisted = () if found is Verdict.RELAYED else _unlisted(seen, names)
    return (*(note for applies, note in notes if applies), *unlisted)


def _by_echo_alone(seen: Observation) -> str:
    """Return a note with the chances by ARP and by echo, if only the chance by echo had to reach the limit."""
    before = seen.phase(Phase.IN)
    silence = seen.silences[-1] if seen.silences else None
    if silence is None or seen.cable == "carrier" or not before.arp.answered:
        return ""
    if kinds_that_count(silence.confirmed, before) != (False, True):
        return ""
    arp, echo = figures(before, silence.missed, silence.searched)
    return f"luck: {arp:.1e} by ARP, {echo:.1e} by echo; the operator confirmed both movements, so that echo counts"


def _who_confirmed(seen: Observation) -> str:
    return "the operator confirmed the return" if seen.confirmed_return else "nobody confirmed it"


def _unlisted(seen: Observation, names: Names) -> tuple[str, ...]:
    """Return a note for each MAC that answered for an address that nobody should own.

    If it answered for one such address, it is a host that no list names; if for both, it does proxy ARP.
    """
    macs = tuple(dict.fromkeys(mac for _, mac in seen.negatives))
    return tuple(
        f"{names.of(mac)} answers for {quad(owned[0])}, which no list has"
        if len(owned) == 1
        else f"{names.of(mac)} answers for anything (proxy ARP)"
        for mac in macs
        if (owned := [address for address, owner in seen.negatives if owner == mac])
    )
