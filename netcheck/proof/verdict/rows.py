"""The rows of the judge's table: each returns its sentence where it applies, and nothing where it does not.

All but three need a MAC that answered. Sentences name MACs, vendors and, where it is known, whose a MAC is.
"""

from __future__ import annotations

from collections.abc import Callable

from netcheck.addr import mac_text, quad
from netcheck.proof.result import Phase
from netcheck.proof.verdict.names import Names
from netcheck.proof.verdict.observation import LEAST_ARP, Observation
from netcheck.text import listed

VIRTUAL_ROUTERS = (0x00005E0001, 0x00005E0002)  # first five octets: RFC 7042 section 2.1.1


Row = Callable[[Observation, Names], str]  # the sentence, or "" where the row does not apply


def not_tested(seen: Observation, names: Names) -> str:
    """No phase was run, or it was stopped before anything answered."""
    if seen.target.barred:
        return f"Not tested: {seen.target.barred}."
    if seen.mac is None and seen.cut and not seen.void:
        return f"Not tested: {seen.cut}."
    return ""


def silent(seen: Observation, names: Names) -> str:
    """Nothing answered with the cable in."""
    if seen.mac is not None or seen.cut:
        return ""
    where = seen.target.address_text
    if seen.anonymous is not None:
        return (
            f"{names.of(seen.anonymous)} has {where}, but does not answer this station: look at the mask and the "
            "gateway typed into it."
        )
    if seen.elsewhere:
        addresses = listed([quad(address) for address in seen.elsewhere])
        who = names.of(seen.target.mac) if seen.target.mac is not None else "the planned MAC"
        return f"Nothing answered for {where} with the cable in; {who} was heard from {addresses}."
    if not seen.linked:
        return f"Nothing answered for {where}: there is no link on the cable."
    if seen.late:
        return f"Nothing answered for {where} in time with the cable in; answers came, all of them late."
    return f"Nothing answered for {where} with the cable in."


def contested(seen: Observation, names: Names) -> str:
    """Two MACs answer with the cable in, before or after it was pulled."""
    if seen.mac is None:
        return ""
    macs = seen.macs(Phase.IN)
    if len(macs) < 2 and seen.came_back:
        macs = seen.macs(Phase.BACK)
    if len(macs) < 2:
        return ""
    if set(macs) <= seen.device_macs:
        return (
            f"{names.list(macs)} all answer for {seen.target.address_text}. They are planned for one device: it "
            "answers for both interfaces on one segment."
        )
    beyond = any(owner.way and owner.phase is not Phase.OUT for owner in seen.owners)
    tail = " One of them was heard through another interface of this station." if beyond else ""
    return f"{names.list(macs)} all answer for {seen.target.address_text} with the cable in.{tail}"


def relayed(seen: Observation, names: Names) -> str:
    """Somebody answers in the device's place: 4-proof.md and 6-settled-details.md 41."""
    if seen.mac is None:
        return ""
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
    if seen.echo_sources:
        return f"{who} answers ARP for {where}, but echo answers come from {names.list(seen.echo_sources)}."
    return ""


def swapped(seen: Observation, names: Names) -> str:
    """It is the MAC of another interface, or another one fell silent instead."""
    if seen.mac is None:
        return ""
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


def wrong_hardware(seen: Observation, names: Names) -> str:
    """The plan names another MAC."""
    if seen.mac is None or seen.target.mac is None or seen.mac == seen.target.mac:
        return ""
    return f"{names.of(seen.mac)} answers for {seen.target.address_text}; the plan names {mac_text(seen.target.mac)}."


def impostor(seen: Observation, names: Names) -> str:
    """With the cable out a MAC answers that is not the device's."""
    if seen.mac is None:
        return ""
    out = [owner for owner in seen.owners if owner.phase is Phase.OUT]
    strange = [owner for owner in out if owner.mac != seen.mac and owner.mac not in seen.device_macs]
    if not strange:
        return ""
    macs = tuple(dict.fromkeys(owner.mac for owner in strange))
    verb = "answers" if len(macs) == 1 else "answer"
    tail = ", through another interface of this station" if any(owner.way for owner in strange) else ""
    return f"With the cable out, {names.list(macs)} {verb} for {seen.target.address_text}{tail}."


def still_answering(seen: Observation, names: Names) -> str:
    """With the cable out, or said to be out, the device answers, by this MAC or another of its own."""
    if seen.mac is None:
        return ""
    where = seen.target.address_text
    out = tuple(dict.fromkeys(owner.mac for owner in seen.owners if owner.phase is Phase.OUT))
    causes = "the wrong cable, a second path, a ring, or a device that answers through its other interface"
    if seen.stayed and seen.cable is None:
        return f"{where} went on answering, it never fell silent: the cable was not pulled, or {causes}."
    if seen.stayed:
        return f"{names.of(seen.mac)} went on answering for {where} when the cable was to be out: {causes}."
    if out:
        return f"With the cable out, {names.list(out)} still answers for {where}: {causes}."
    return ""


def unsettled(seen: Observation, names: Names) -> str:
    """Something is missing: every reason is named."""
    if seen.cut:
        return f"A phase was cut short: {seen.cut}."
    return "" if seen.mac is None else " ".join(reason for test in UNSETTLING if (reason := test(seen, names)))


def _deaf(seen: Observation, names: Names) -> str:
    return "" if seen.hears_all else "This link cannot hear a second owner of the address; use --link raw."


def _not_direct(seen: Observation, names: Names) -> str:
    chain = seen.target.ports > 1 and seen.mac == seen.target.mac and seen.cable == "carrier"
    if not seen.strangers or chain:  # a chain falls silent with it, and the plan knows it: 6-settled-details.md 42
        return ""
    return f"The direct cable is not direct: {names.list(seen.strangers)} was heard on it."


def _no_control(seen: Observation, names: Names) -> str:
    if seen.fallen:
        return (
            f"{listed(list(seen.fallen))} fell silent together with it: which connector was pulled is not known. If it "
            "hangs behind this port, say so in the plan (behind)."
        )
    if seen.cable == "carrier" or seen.controls:
        return ""
    if seen.direct:
        return "The link stayed up, so this cable is not the direct one; prove it without --direct."
    return "No other device answered, so the silence may be the station's own cable: prove it with --direct."


def _lucky(seen: Observation, names: Names) -> str:
    chance = seen.luck
    if seen.silence < seen.silence_least:
        return f"The silence lasted {seen.silence:.1f} s; {seen.silence_least:.1f} s are needed."
    if seen.cable != "carrier" and (chance is None or chance > seen.luck_limit):
        bursts = ", since answers are lost in bursts" if seen.burst_luck > seen.luck_limit else ""
        return f"The silence could be luck{bursts}: {_figure(chance)}, above {_figure(seen.luck_limit)}."
    return ""


def _unheard(seen: Observation, names: Names) -> str:
    if not seen.came_back or not seen.hears_all:
        return ""
    few = [
        phase
        for phase, least in LEAST_ARP.items()
        if seen.phase(phase).arp.sent + (seen.earlier if phase is Phase.IN else 0) < least
        and not (phase is Phase.OUT and seen.cable == "carrier")
    ]
    if few:
        return f"A second owner may have gone unheard: too few requests in phase {listed([str(p) for p in few])}."
    if seen.unheard is None or seen.unheard > seen.unheard_limit:
        return f"A second owner may have gone unheard: {_figure(seen.unheard)}, above {_figure(seen.unheard_limit)}."
    return ""


def _which_connector(seen: Observation, names: Names) -> str:
    if seen.other_port:
        return f"By LLDP the cable is in port {seen.other_port}, not in port {seen.target.port}."
    if seen.target.ordinal and seen.connector == "assumed":
        return "Which connector is not known: press Enter after moving the cable to it, or on a walk its number."
    return ""


def _pulled_once(seen: Observation, names: Names) -> str:
    return "One silence could be a restart: pull the cable once more." if seen.pulled_once else ""


UNSETTLING: tuple[Row, ...] = (_deaf, _not_direct, _no_control, _lucky, _unheard, _which_connector, _pulled_once)


def _figure(chance: float | None) -> str:
    return "not known" if chance is None else f"{chance:.1e}"


def not_back(seen: Observation, names: Names) -> str:
    """It answered, fell silent, and did not return."""
    if seen.mac is None or seen.came_back:
        return ""
    other = tuple(mac for mac in seen.macs(Phase.BACK) if mac != seen.mac)
    tail = f"; {names.list(other)} answered instead" if other else ""
    return f"{mac_text(seen.mac)} answered, fell silent with the cable out, and did not return{tail}."


def proven(seen: Observation, names: Names) -> str:
    """Every row above has been passed."""
    if seen.mac is None:
        return ""
    how = {"carrier": "the link dropped", "operator": "the operator said so"}.get(seen.cable or "", "inferred")
    return (
        f"{names.of(seen.mac)} answered with the cable in, nothing answered with it out ({how}), and it answered again."
    )
