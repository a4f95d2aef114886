"""From the case of a port to the judge's input: whose hearing belongs to which phase, and who else is known."""

from __future__ import annotations

from netcheck.proof.port.lldp import connector, lldp_evidence, other_port
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER, Sighting
from netcheck.proof.result import Phase
from netcheck.proof.verdict.observation import Observation, Owner


def observe(case: PortState) -> Observation:
    """Everything the judge needs, as it stands now."""
    run, target, mac = case.run, case.target, case.mac
    return Observation(
        target=target,
        mac=mac,
        phases=tuple(case.results.items()),
        owners=_owners(case),
        device_macs=run.macs_of(target.device),
        cable=case.cable,
        connector=connector(case),
        looked=case.looks,
        silence=case.silence,
        silence_least=case.silence_least,
        burst_luck=case.burst_luck,
        stayed=case.stayed,
        hands_free=run.settings.hands_free,
        controls=case.held,
        fallen=case.fallen,
        instead=case.instead,
        negatives=_negatives(case),
        no_negative=not case.negatives,
        gateway_mac=_gateway_mac(case),
        is_gateway=target.address in run.gateways,
        shared=() if mac is None else tuple(run.shared(target, mac, case.began)),
        planned_for=_planned_for(case),
        proven_for=_proven_for(case),
        direct=run.settings.direct,
        linked=run.carrier[0],
        strangers=_strangers(case) if run.settings.direct else (),
        anonymous=case.anonymous,
        elsewhere=_elsewhere(case),
        late=mac is None and any(hearing.late for hearing in case.line.heard(case.began)),
        forged=run.scheduler.ear.forged - case.forged,
        cut=case.cut,
        void=case.void,
        hears_all=run.scheduler.hears_all,
        other_port=other_port(case),
        evidence=(*case.evidence.items(), *lldp_evidence(case)),
        first_after=case.first_after,
        luck_limit=run.settings.luck,
        unheard_limit=run.settings.unheard,
    )


def _owners(case: PortState) -> tuple[Owner, ...]:
    """Who was heard for the address in which phase and on which way."""
    found: dict[tuple[int, Phase, int], bool] = {}
    for line in (case.line, *case.beyond):
        for hearing in line.heard(case.began, case.ended):
            phase = phase_of(case, hearing)
            if phase is not None:
                key = (hearing.mac, phase, hearing.way)
                found[key] = found.get(key, True) and hearing.how == "echo"
    return tuple(Owner(mac, phase, way, echo_only) for (mac, phase, way), echo_only in found.items())


def phase_of(case: PortState, hearing: Sighting) -> Phase | None:
    """The phase that a hearing counts in. None for the device's own answers early in phase out, while the cable was
    not yet out: only the trailing silence counts (6-settled-details.md 44). None as well for those to its last open
    requests that come once the cable was asked back: a delayed request may have met the cable that was just put in.
    Whoever else answers between its last answer and the operator's word that the cable is out, answers with it out."""
    under_test = hearing.mac == case.mac and hearing.way == 0
    if hearing.means >= case.back_from:
        still_out = hearing.mac != case.mac and hearing.means < case.returned < EVER
        return Phase.OUT if still_out else Phase.BACK
    if hearing.means >= case.out_from or (not under_test and hearing.means > case.left):
        uncounted = hearing.means < case.quiet_from or hearing.at >= min(case.back_from, case.ended)
        return None if under_test and uncounted else Phase.OUT
    out_before = any(since <= hearing.means < until for since, until in case.outs)
    return Phase.OUT if out_before and hearing.mac != case.mac else Phase.IN


def _negatives(case: PortState) -> tuple[tuple[int, int], ...]:
    macs = [(line.address, mac) for line in case.negatives for mac in line.macs(case.began, case.ended)]
    return tuple(macs)


def _gateway_mac(case: PortState) -> int | None:
    gateway = case.run.scope.net(case.target.subnet).gateway
    line = case.run.watched.get(gateway) if gateway is not None else None
    return None if line is None else line.mac


def _planned_for(case: PortState) -> str:
    """Another interface that the plan names this MAC for."""
    planned = case.run.scope.macs.get(case.mac, "") if case.mac is not None else ""
    return planned if planned != case.target.interface else ""


def _proven_for(case: PortState) -> str:
    """Another device's interface that this MAC is already proven for."""
    proven = case.run.proven.get(case.mac, "") if case.mac is not None else ""
    return proven if proven.split("/")[0] != case.target.device else ""


def _elsewhere(case: PortState) -> tuple[int, ...]:
    """Other addresses that the planned MAC was heard from."""
    said = case.run.spoken.get(case.target.mac, {}) if case.target.mac is not None else {}
    return tuple(address for address in said if address not in (0, case.target.address))


def _strangers(case: PortState) -> tuple[int, ...]:
    """MACs heard on the direct cable since it was plugged in that are not the device's."""
    ours = case.run.macs_of(case.target.device) | {case.mac}
    recent = (mac for mac, said in case.run.spoken.items() if max(said.values()) >= case.began)
    return tuple(mac for mac in recent if mac not in ours)
