"""The rows of the judge's table. A row is a function that returns its sentence if it applies, else an empty string.

All rows but three need a MAC that answered. The sentences name MACs with their vendors and what is known of them.
"""

from __future__ import annotations

from collections.abc import Callable

from netcheck.addr import mac_text, quad
from netcheck.proof.result import Phase
from netcheck.proof.settings.model import wrong_of
from netcheck.proof.verdict.names import Names
from netcheck.proof.verdict.observation import LEAST_ARP, SAME_TIME, Observation
from netcheck.proof.verdict.silence_rule import ON_TIME, WEAK, Confirmed
from netcheck.text import listed

VIRTUAL_ROUTERS = (0x00005E0001, 0x00005E0002)  # first five octets: RFC 7042 section 2.1.1


Row = Callable[[Observation, Names], str]  # the sentence, or "" if the row does not apply


def not_tested(seen: Observation, names: Names) -> str:
    """No phase was run, or it was stopped before anything answered."""
    if seen.target.barred:
        return f"Not tested: {seen.target.barred}."
    if seen.mac is None and seen.cut and not seen.void and not seen.skipped:
        return f"Not tested: {seen.cut}."
    return ""


def silent(seen: Observation, names: Names) -> str:
    """Nothing answered with the cable in."""
    if seen.mac is not None or seen.cut:
        return ""
    where = seen.target.address_text
    if seen.anonymous is not None:
        return (
            f"{names.of(seen.anonymous)} has {where}, but does not answer this station: check the mask and the "
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
    """Two MACs answer with the cable in, before the pull or after the return."""
    if seen.mac is None:
        return ""
    macs = seen.macs(Phase.IN)
    if len(macs) < 2 and seen.came_back:
        macs = tuple(dict.fromkeys((seen.mac, *seen.macs(Phase.BACK))))
    if len(macs) < 2:
        return ""
    if set(macs) <= seen.device_macs:
        return (
            f"{names.list(macs)} all answer for {seen.target.address_text}. They are planned for one device: it "
            "answers for both interfaces on one segment."
        )
    beyond = any(owner.adapter and owner.phase is not Phase.OUT for owner in seen.owners)
    tail = " One of them was heard through another interface of this station." if beyond else ""
    return f"{names.list(macs)} all answer for {seen.target.address_text} with the cable in.{tail}"


def relayed(seen: Observation, names: Names) -> str:
    """Another host answers in the device's place.

    A proxy answers for both addresses that nobody should own. A MAC that answers for one of them is a host that no list
    names.
    """
    if seen.mac is None:
        return ""
    who, where = names.of(seen.mac), seen.target.address_text
    answered = [quad(address) for address, mac in seen.negatives if mac == seen.mac]
    if len(answered) > 1:
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
    """The MAC belongs to another interface, or another address fell silent instead."""
    if seen.mac is None:
        return ""
    who, where = names.of(seen.mac), seen.target.address_text
    if seen.planned_for and seen.mac in seen.device_macs:
        return (
            f"{who} answers for {where}: the addresses of the device's interfaces are swapped, or it answers for this "
            "address through another interface."
        )
    if seen.planned_for:
        mac = mac_text(seen.mac)  # `who` names the planned interface already
        return f"{mac} answers for {where}, but is planned for {seen.planned_for}: the two devices are swapped."
    if seen.proven_for:
        return f"{who} answers for {where}, but is already proven as {seen.proven_for}."
    if seen.stayed and seen.instead:
        return (
            f"When the cable of {seen.target.subject} was to be pulled, {listed(list(seen.instead))} fell silent and "
            f"{where} went on answering: their addresses are swapped, or the wrong cable was pulled."
        )
    return ""


def wrong_hardware(seen: Observation, names: Names) -> str:
    """The plan names another MAC."""
    if seen.mac is None or seen.target.mac is None or seen.mac == seen.target.mac:
        return ""
    return f"{names.of(seen.mac)} answers for {seen.target.address_text}; the plan names {mac_text(seen.target.mac)}."


def impostor(seen: Observation, names: Names) -> str:
    """With the cable out, a MAC answers that does not belong to the device."""
    if seen.mac is None:
        return ""
    out = [owner for owner in seen.owners if owner.phase is Phase.OUT]
    strange = [owner for owner in out if owner.mac != seen.mac and owner.mac not in seen.device_macs]
    if not strange:
        return ""
    macs = tuple(dict.fromkeys(owner.mac for owner in strange))
    verb = "answers" if len(macs) == 1 else "answer"
    tail = ", through another interface of this station" if any(owner.adapter for owner in strange) else ""
    return f"With the cable out, {names.list(macs)} {verb} for {seen.target.address_text}{tail}."


def still_answering(seen: Observation, names: Names) -> str:
    """The device answers with the cable out, or after the operator said that it is out, with any of its MACs."""
    if seen.mac is None:
        return ""
    where = seen.target.address_text
    out = tuple(dict.fromkeys(owner.mac for owner in seen.owners if owner.phase is Phase.OUT))
    causes = "the wrong cable, a second path, a ring, or a device that answers through its other interface"
    if seen.unconfirmed:
        return f"{where} answered again, and nobody confirmed that its cable was plugged in again: {causes}."
    if seen.stayed and seen.cable is None and seen.fell_before:
        return (
            f"{where} fell silent once, but went on answering when its cable was to be pulled once more: the cable was "
            f"not pulled, or {causes}."
        )
    if seen.stayed and seen.cable is None:
        return f"{where} went on answering and never fell silent: the cable was not pulled, or {causes}."
    if seen.stayed:
        return f"{names.of(seen.mac)} went on answering for {where} when the cable was to be out: {causes}."
    if out:
        return f"With the cable out, {names.list(out)} still answers for {where}: {causes}."
    return ""


def skipped(seen: Observation, names: Names) -> str:
    """The operator skipped it before anything above was certain."""
    if not seen.skipped:
        return ""
    answered = "after it had answered" if seen.mac is not None else "before anything had answered"
    return f"It was skipped {answered}, so it is not proven; the same command asks for it again."


def unsettled(seen: Observation, names: Names) -> str:
    """The evidence is incomplete; the sentence names every reason."""
    if seen.cut:
        return f"A phase was cut short: {seen.cut}."
    return "" if seen.mac is None else " ".join(reason for test in UNSETTLING if (reason := test(seen, names)))


def _back(seen: Observation) -> bool:
    """Return whether the device returned and answers as before."""
    return seen.came_back and seen.answers_now


def _hears_no_arp(seen: Observation, names: Names) -> str:
    return (
        ""
        if seen.hears_all
        else "This link cannot hear a second owner of the address; use --link raw or --link portable."
    )


def _not_direct(seen: Observation, names: Names) -> str:
    if seen.foreign_lldp:
        return (
            f"The direct cable is not direct: {names.list(seen.foreign_lldp)} announces itself on it by LLDP and is "
            "not the device."
        )
    # A device with several ports also passes on frames of the devices chained to it. This is accepted if the carrier
    # showed the pull and the plan has the MAC.
    chain = seen.target.ports > 1 and seen.mac == seen.target.mac and seen.cable == "carrier"
    if not seen.strangers or chain:
        return ""
    return f"The direct cable is not direct: {names.list(seen.strangers)} was heard on it."


def fell_together(others: str) -> str:
    """Return a text with the possible causes why others fell silent at the same time."""
    return (
        f"{others} fell silent within about {SAME_TIME:.0f} s of it; one cable leads to both, or {others} was pulled "
        "or switched off at the same moment"
    )


def _no_control(seen: Observation, names: Names) -> str:
    if seen.fallen:
        others = listed(list(seen.fallen))
        said = f"Which connector was pulled is not known: {fell_together(others)}."
        if not set(seen.fallen) <= set(seen.chained):
            return f"{said} Prove this port again while nobody works at {others}."
        return (
            f"{said} They fell silent and returned together twice: if {others} is connected behind this port, write "
            "this into the plan (behind); else pull the cable at the port itself."
        )
    if seen.cable == "carrier" or seen.controls:
        return ""
    if seen.direct:
        return "The link stayed up, so this cable is not the direct one; prove it without --direct."
    return "No other device answered, so the silence may be the station's own cable: prove it with --direct."


def _not_enough_silence(seen: Observation, names: Names) -> str:
    short = next((silence for silence in seen.silences if silence.short), None)
    if short is not None:
        return f"The silence lasted {short.lasted:.1f} s; {short.needed:.1f} s are needed."
    figure = seen.luck
    if _back(seen) and seen.silences and seen.cable != "carrier" and (figure is None or figure > seen.luck_limit):
        return f"The silence could be luck: {_figure(figure)}, above {_figure(seen.luck_limit)}."
    return ""


def _one_silence(seen: Observation, names: Names) -> str:
    """If nobody confirms a silence, it is evidence only if it answers a request at a moment the device cannot know."""
    if not _back(seen) or seen.cable == "carrier" or seen.confirmed_return or seen.once:
        return ""
    asked = sum(silence.confirmed is Confirmed.REQUEST for silence in seen.silences)
    if asked >= seen.requests_needed:
        return ""
    return (
        "One silence could be a restart: pull the cable once more when it is asked for. "
        f"Silences that began within {ON_TIME:.0f} s of a request: {asked} of {seen.requests_needed}."
    )


def _too_late(seen: Observation, names: Names) -> str:
    late = [silence for silence in seen.silences if silence.after is not None and silence.after > WEAK]
    if not late or seen.cable != "inferred":
        return ""
    return (
        f"It fell silent {late[0].after:.0f} s after the request and nobody confirmed the pull, so it could be a "
        "restart: press Enter when the cable is out."
    )


def _heard_before(seen: Observation, names: Names) -> str:
    current = set(seen.macs(Phase.IN, Phase.OUT, Phase.BACK))
    others = [one for one in seen.heard_before if one.mac not in current]
    if not others:
        return ""
    said = [f"{names.of(one.mac)} ({one.first:.0f} s to {one.last:.0f} s after the start)" for one in others]
    return f"In this run {listed(said)} was heard for {seen.target.address_text} as well."


def _unread(seen: Observation, names: Names) -> str:
    if not seen.lost_frames:
        return ""
    return (
        f"{seen.lost_frames} frames were dropped unread since the cable was first out: an owner may be among "
        "them. Prove this port again."
    )


def _unheard(seen: Observation, names: Names) -> str:
    if not _back(seen) or not seen.hears_all:
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
    if (seen.target.ordinal or seen.not_moved) and seen.connector == "assumed":
        return (
            "The connector is not known: nothing showed that the cable was moved to it. When asked, unplug the cable "
            "and plug it into this port, then press Enter; on a walk press its number."
        )
    if seen.shared_own and seen.target.mac is None:
        return (
            f"{names.of(seen.mac or 0)} answers for {listed(list(seen.shared_own))} as well, so the connector that its "
            "answers came through is not known. Put the MAC of each interface into the plan."
        )
    if seen.connector_unknown and seen.connector == "assumed" and seen.mac != seen.target.mac:
        return (
            "Which connector was pulled is not known: the plan has no MAC of this interface. Press its number while "
            "its cable is out, walk with --in-order, or put the MAC into the plan."
        )
    return ""


UNSETTLING: tuple[Row, ...] = (
    _hears_no_arp, _not_direct, _no_control, _not_enough_silence, _one_silence, _too_late, _heard_before, _unread,
    _unheard, _which_connector,
)  # fmt: skip


def _figure(chance: float | None) -> str:
    return "not known" if chance is None else f"{chance:.1e}"


def not_back(seen: Observation, names: Names) -> str:
    """The device answered and fell silent, but did not return, or does not answer as before."""
    if seen.mac is None or _back(seen):
        return ""
    if seen.came_back:
        back = seen.phase(Phase.BACK)
        asked, answered = back.arp.sent + back.echo.sent, back.arp.answered + back.echo.answered
        return (
            f"{mac_text(seen.mac)} answered {answered} of {asked} requests after its cable was plugged in again, fewer "
            "than before: check the plug."
        )
    other = tuple(mac for mac in seen.macs(Phase.BACK) if mac != seen.mac)
    tail = f"; {names.list(other)} answered instead" if other else ""
    return f"{mac_text(seen.mac)} answered, fell silent with the cable out, and did not return{tail}."


def wrong_settings(seen: Observation, names: Names) -> str:
    """All of a proof was seen, but the mask or the gateway is not the planned one."""
    wrong = wrong_of(seen.evidence)
    if seen.mac is None or not wrong:
        return ""
    said, do = (listed([part[number] for part in wrong], joint="and") for number in (0, 1))
    return (
        f"It answered, fell silent and answered again as it should, but by its behaviour its settings differ from the "
        f"plan: {said}. {do[0].upper()}{do[1:]}, then prove it again."
    )


def proven(seen: Observation, names: Names) -> str:
    """Every row above has been passed."""
    if seen.mac is None:
        return ""
    how = {"carrier": "the link dropped", "operator": "the operator said so"}.get(seen.cable or "", "inferred")
    asked = sum(silence.confirmed is Confirmed.REQUEST for silence in seen.silences)
    times = f", {asked} times on request" if asked > 1 else ", on request" if asked else ""
    return (
        f"{names.of(seen.mac)} answered with the cable in, nothing answered with it out ({how}{times}), and it "
        "answered again."
    )
