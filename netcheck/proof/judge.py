"""The judge: from what was observed at a port to a verdict and a sentence. A table, read top to bottom; first row wins.

Pure: the same observation and names give the same proof. 4-proof.md holds the table, 6-settled-details.md its details.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from netcheck.addr import mac_text, quad
from netcheck.proof.observed import LEAST_ARP, Observed
from netcheck.proof.result import Other, Phase, Proof, Verdict
from netcheck.text import listed

VIRTUAL_ROUTERS = (0x00005E0001, 0x00005E0002)  # first five octets: RFC 7042 section 2.1.1


@dataclass(frozen=True, slots=True)
class Names:
    """Who is known: a function from MAC to words ("" where unknown), and one to the vendor by the IEEE registry."""

    known_as: Callable[[int], str]
    vendor: Callable[[int], str | None]

    def of(self, mac: int) -> str:
        """A MAC with all that is known of it."""
        words = [part for part in (self.vendor(mac), self.known_as(mac)) if part]
        return mac_text(mac) + (f" ({', '.join(words)})" if words else "")

    def list(self, macs: tuple[int, ...]) -> str:
        """Several MACs as prose."""
        return listed([self.of(mac) for mac in macs])


Row = Callable[[Observed, Names], str]  # the sentence, or "" where the row does not apply


def _not_tested(seen: Observed, names: Names) -> str:
    if seen.target.barred:
        return f"Not tested: {seen.target.barred}."
    if seen.mac is None and seen.cut:
        return f"Not tested: {seen.cut} before anything answered."
    return ""


def _silent(seen: Observed, names: Names) -> str:
    if seen.mac is not None:
        return ""
    where = seen.target.address_text
    if seen.anonymous is not None:
        return (
            f"{names.of(seen.anonymous)} has {where}, but does not answer this station: look at the mask and the "
            "gateway typed into it."
        )
    if seen.elsewhere:
        addresses = listed([quad(address) for address in seen.elsewhere])
        return f"Nothing answered for {where} with the cable in; the planned MAC was heard from {addresses}."
    if seen.late:
        return f"Nothing answered for {where} in time with the cable in; answers came, all of them late."
    return f"Nothing answered for {where} with the cable in."


def _contested(seen: Observed, names: Names) -> str:
    macs = seen.macs(Phase.IN)
    if len(macs) < 2:
        back = seen.macs(Phase.BACK)
        macs = back if seen.came_back and len(back) > 1 else ()
    if len(macs) < 2:
        return ""
    if set(macs) <= seen.device_macs:
        return (
            f"{names.list(macs)} all answer for {seen.target.address_text}. They are planned for one device: it "
            "answers for both interfaces on one segment."
        )
    beyond = {owner.mac for owner in seen.owners if owner.way and owner.phase is Phase.IN}
    tail = " One of them was heard through another interface of this station." if beyond else ""
    return f"{names.list(macs)} all answer for {seen.target.address_text} with the cable in.{tail}"


def _relayed(seen: Observed, names: Names) -> str:
    assert seen.mac is not None  # silent comes before
    who, where = names.of(seen.mac), seen.target.address_text
    answered = [quad(address) for address, mac in seen.negatives if mac == seen.mac]
    if answered:
        return (
            f"{who} answers for {where} and for {listed(answered)}, which nobody should own: it answers for anything."
        )
    if seen.mac == seen.gateway_mac and not seen.is_gateway:
        return f"{who} answers for {where} and is the gateway: a router answers in the device's place."
    if seen.mac >> 8 in VIRTUAL_ROUTERS:
        return f"{who}, a virtual router's MAC, answers for {where}."
    if seen.shared:
        return f"{who} answers for {where} and for {listed(list(seen.shared))}, planned for another device."
    sources = tuple(dict.fromkeys(o.mac for o in seen.owners if o.echo_only and o.phase is Phase.IN))
    strange = tuple(mac for mac in sources if mac != seen.mac) if seen.hears_all else ()
    if strange:
        return f"{who} answers ARP for {where}, but echo answers come from {names.list(strange)}."
    return ""


def _swapped(seen: Observed, names: Names) -> str:
    assert seen.mac is not None
    who, where = names.of(seen.mac), seen.target.address_text
    if seen.planned_for and seen.mac in seen.device_macs:
        return (
            f"{who} answers for {where}: the addresses of the device's interfaces are swapped, or it answers for this "
            "one through another."
        )
    if seen.planned_for:
        return f"{who} answers for {where}, but is planned for {seen.planned_for}: the two are swapped."
    if seen.proven_for:
        return f"{who} answers for {where}, but is already proven as {seen.proven_for}."
    if seen.stayed and seen.instead:
        return (
            f"When the cable of {seen.target.subject} was to be pulled, {listed(list(seen.instead))} fell silent and "
            f"{where} went on: their addresses are swapped, or the wrong cable was pulled."
        )
    return ""


def _wrong_hardware(seen: Observed, names: Names) -> str:
    assert seen.mac is not None
    if seen.target.mac is None or seen.mac == seen.target.mac:
        return ""
    return f"{names.of(seen.mac)} answers for {seen.target.address_text}; the plan names {mac_text(seen.target.mac)}."


def _impostor(seen: Observed, names: Names) -> str:
    out = tuple(dict.fromkeys(o.mac for o in seen.owners if o.phase is Phase.OUT))
    strange = tuple(mac for mac in out if mac != seen.mac and mac not in seen.device_macs)
    if not strange:
        return ""
    verb = "answers" if len(strange) == 1 else "answer"
    beyond = any(o.way and o.mac in strange for o in seen.owners)
    tail = ", through another interface of this station" if beyond else ""
    return f"With the cable out, {names.list(strange)} {verb} for {seen.target.address_text}{tail}."


def _still_answering(seen: Observed, names: Names) -> str:
    assert seen.mac is not None
    out = tuple(dict.fromkeys(o.mac for o in seen.owners if o.phase is Phase.OUT))
    causes = "the wrong cable, a second path, a ring, or a device that answers through its other interface"
    if seen.stayed and seen.hands_free and seen.cable is None:
        return f"It never fell silent: the cable was not pulled, or {causes}."
    if seen.stayed:
        return f"{names.of(seen.mac)} went on answering when the cable was to be out: {causes}."
    if out:
        return f"With the cable out, {names.list(out)} still answers for {seen.target.address_text}: {causes}."
    return ""


def _unsettled(seen: Observed, names: Names) -> str:
    if seen.cut:
        return f"A phase was cut short: {seen.cut}."
    return " ".join(reason for test in UNSETTLING if (reason := test(seen, names)))


def _deaf(seen: Observed, names: Names) -> str:
    return "" if seen.hears_all else "This link cannot hear a second owner of the address; use --link raw."


def _not_direct(seen: Observed, names: Names) -> str:
    if not seen.strangers or (seen.target.ports > 1 and seen.mac == seen.target.mac):
        return ""
    return f"The direct cable is not direct: {names.list(seen.strangers)} was heard on it."


def _no_control(seen: Observed, names: Names) -> str:
    if seen.fallen:
        return (
            f"{listed(list(seen.fallen))} fell silent together with it: which connector was pulled is not known. If it "
            "hangs behind this port, say so in the plan (behind)."
        )
    if seen.cable != "carrier" and not seen.controls:
        return "No other device answered, so the silence may be the station's own cable: prove it with --direct."
    return ""


def _lucky(seen: Observed, names: Names) -> str:
    chance = seen.luck
    if seen.silence < seen.silence_least:
        return f"The silence lasted {seen.silence:.1f} s; {seen.silence_least:.1f} s are needed."
    if seen.cable != "carrier" and (chance is None or chance > seen.luck_limit):
        return f"The silence could be luck: {_figure(chance)}, above {_figure(seen.luck_limit)}."
    return ""


def _unheard(seen: Observed, names: Names) -> str:
    if not seen.came_back or not seen.hears_all:
        return ""
    few = [
        phase
        for phase, least in LEAST_ARP.items()
        if seen.phase(phase).arp.sent < least and not (phase is Phase.OUT and seen.cable == "carrier")
    ]
    if few or seen.unheard is None or seen.unheard > seen.unheard_limit:
        return f"A second owner may have gone unheard: {_figure(seen.unheard)}, above {_figure(seen.unheard_limit)}."
    return ""


def _which_connector(seen: Observed, names: Names) -> str:
    if seen.target.ordinal and seen.connector == "assumed":
        return "Which connector is not known: press Enter after moving the cable to it."
    return ""


UNSETTLING: tuple[Row, ...] = (_deaf, _not_direct, _no_control, _lucky, _unheard, _which_connector)


def _figure(chance: float | None) -> str:
    return "not known" if chance is None else f"{chance:.1e}"


def _not_back(seen: Observed, names: Names) -> str:
    assert seen.mac is not None
    if seen.came_back:
        return ""
    other = tuple(mac for mac in seen.macs(Phase.BACK) if mac != seen.mac)
    tail = f"; {names.list(other)} answered instead" if other else ""
    return f"{mac_text(seen.mac)} answered, fell silent with the cable out, and did not return{tail}."


def _proven(seen: Observed, names: Names) -> str:
    assert seen.mac is not None
    how = {"carrier": "the link dropped", "operator": "the operator said so"}.get(seen.cable or "", "inferred")
    return (
        f"{names.of(seen.mac)} answered with the cable in, nothing answered with it out ({how}), and it answered again."
    )


TABLE: tuple[tuple[Verdict, Row], ...] = (
    (Verdict.NOT_TESTED, _not_tested),
    (Verdict.SILENT, _silent),
    (Verdict.CONTESTED, _contested),
    (Verdict.RELAYED, _relayed),
    (Verdict.SWAPPED, _swapped),
    (Verdict.WRONG_HARDWARE, _wrong_hardware),
    (Verdict.IMPOSTOR, _impostor),
    (Verdict.STILL_ANSWERING, _still_answering),
    (Verdict.UNSETTLED, _unsettled),
    (Verdict.NOT_BACK, _not_back),
    (Verdict.PROVEN, _proven),
)
# Verdicts that phase in alone decides, so that nobody pulls a cable in vain; before phase back, all but two are final.
DECIDED_IN = (Verdict.CONTESTED, Verdict.RELAYED, Verdict.SWAPPED, Verdict.WRONG_HARDWARE)


def verdict(seen: Observed, names: Names) -> tuple[Verdict, str]:
    """The first row that applies, with its sentence."""
    return next((word, said) for word, row in TABLE if (said := row(seen, names)))


def judge(seen: Observed, names: Names) -> Proof:
    """The proof of a port."""
    word, why = verdict(seen, names)
    echo = None if seen.mac is None else "answered" if _echoed(seen) else "blocked"
    return Proof(
        interface=seen.target.interface,
        port=seen.target.port,
        address=seen.target.address_text,
        verdict=word,
        why=why,
        mac=seen.mac if seen.mac is not None else seen.anonymous,
        vendor=None if seen.mac is None else names.vendor(seen.mac),
        echo=echo,
        cable=seen.cable,
        connector=seen.connector if seen.phases else None,
        identity=None if seen.mac is None else "planned" if seen.mac == seen.target.mac else "learned",
        luck=seen.luck if Phase.OUT in dict(seen.phases) else None,
        unheard=seen.unheard,
        others=_others(seen, names),
        phases=seen.phases,
        notes=_notes(seen, word),
    )


def _echoed(seen: Observed) -> bool:
    return any(result.echo.answered for _, result in seen.phases)


def _others(seen: Observed, names: Names) -> tuple[Other, ...]:
    heard = [(o.mac, seen.target.address, str(o.phase)) for o in seen.owners if o.mac != seen.mac]
    heard += [(mac, address, str(Phase.IN)) for address, mac in seen.negatives]
    return tuple(Other(mac, address, phase, names.known_as(mac)) for mac, address, phase in dict.fromkeys(heard))


def _notes(seen: Observed, word: Verdict) -> tuple[str, ...]:
    unlisted = [f"{quad(address)} is owned by {mac_text(mac)}, which no list has" for address, mac in seen.negatives]
    return tuple(
        note
        for applies, note in (
            (seen.mac is not None and not _echoed(seen), "echo: blocked; it answers ARP alone"),
            (seen.cable == "inferred", "cable: inferred from the silence after the request; nobody confirmed it"),
            (seen.first_after > 5, f"the first answer came after {seen.first_after:.0f} s"),
            (bool(seen.forged), f"{seen.forged} echo answers fitted no probe of this run and were not counted"),
            (word is not Verdict.RELAYED and bool(unlisted), "; ".join(unlisted)),
            (seen.direct and bool(seen.strangers), "other devices were heard on the direct cable"),
        )
        if applies
    )
