"""From the case of a port to the judge's input: whose hearing belongs to which phase, and who else is known."""

from __future__ import annotations

from netcheck.proof.case import Case
from netcheck.proof.lines import EVER, Hearing
from netcheck.proof.neighbour import connector, lldp_evidence, other_port
from netcheck.proof.observed import Observed, Owner
from netcheck.proof.result import Phase


def observed(case: Case) -> Observed:
    """Everything the judge needs, as it stands now."""
    bench, target, mac = case.bench, case.target, case.mac
    return Observed(
        target=target,
        mac=mac,
        phases=tuple(case.results.items()),
        owners=_owners(case),
        device_macs=bench.macs_of(target.device),
        cable=case.cable,
        connector=connector(case),
        looked=case.looks,
        silence=case.silence,
        silence_least=case.silence_least,
        burst_luck=case.burst_luck,
        stayed=case.stayed,
        hands_free=bench.settings.hands_free,
        controls=case.held,
        fallen=case.fallen,
        instead=case.instead,
        negatives=_negatives(case),
        no_negative=not case.negatives,
        gateway_mac=_gateway_mac(case),
        is_gateway=target.address in bench.gateways,
        shared=() if mac is None else tuple(bench.shared(target, mac, case.began)),
        planned_for=_planned_for(case),
        proven_for=_proven_for(case),
        direct=bench.settings.direct,
        linked=bench.carrier[0],
        strangers=_strangers(case) if bench.settings.direct else (),
        anonymous=case.anonymous,
        elsewhere=_elsewhere(case),
        late=mac is None and any(hearing.late for hearing in case.line.heard(case.began)),
        forged=bench.asker.ear.forged - case.forged,
        cut=case.cut,
        void=case.void,
        hears_all=bench.asker.hears_all,
        other_port=other_port(case),
        evidence=(*case.evidence.items(), *lldp_evidence(case)),
        first_after=case.first_after,
        luck_limit=bench.settings.luck,
        unheard_limit=bench.settings.unheard,
    )


def _owners(case: Case) -> tuple[Owner, ...]:
    """Who was heard for the address in which phase and on which way."""
    found: dict[tuple[int, Phase, int], bool] = {}
    for line in (case.line, *case.beyond):
        for hearing in line.heard(case.began, case.ended):
            phase = phase_of(case, hearing)
            if phase is not None:
                key = (hearing.mac, phase, hearing.way)
                found[key] = found.get(key, True) and hearing.how == "echo"
    return tuple(Owner(mac, phase, way, echo_only) for (mac, phase, way), echo_only in found.items())


def phase_of(case: Case, hearing: Hearing) -> Phase | None:
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


def _negatives(case: Case) -> tuple[tuple[int, int], ...]:
    macs = [(line.address, mac) for line in case.negatives for mac in line.macs(case.began, case.ended)]
    return tuple(macs)


def _gateway_mac(case: Case) -> int | None:
    gateway = case.bench.aim.net(case.target.subnet).gateway
    line = case.bench.watched.get(gateway) if gateway is not None else None
    return None if line is None else line.mac


def _planned_for(case: Case) -> str:
    """Another interface that the plan names this MAC for."""
    planned = case.bench.aim.macs.get(case.mac, "") if case.mac is not None else ""
    return planned if planned != case.target.interface else ""


def _proven_for(case: Case) -> str:
    """Another device's interface that this MAC is already proven for."""
    proven = case.bench.proven.get(case.mac, "") if case.mac is not None else ""
    return proven if proven.split("/")[0] != case.target.device else ""


def _elsewhere(case: Case) -> tuple[int, ...]:
    """Other addresses that the planned MAC was heard from."""
    said = case.bench.spoken.get(case.target.mac, {}) if case.target.mac is not None else {}
    return tuple(address for address in said if address not in (0, case.target.address))


def _strangers(case: Case) -> tuple[int, ...]:
    """MACs heard on the direct cable since it was plugged in that are not the device's."""
    ours = case.bench.macs_of(case.target.device) | {case.mac}
    recent = (mac for mac, said in case.bench.spoken.items() if max(said.values()) >= case.began)
    return tuple(mac for mac in recent if mac not in ours)
