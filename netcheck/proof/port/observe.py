"""Convert the state of a port into the judge's input: who was heard in which phase, and what else is known of them."""

from __future__ import annotations

from netcheck.proof.port.connector import connector, foreign, lldp_evidence, other_port
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER, Sighting
from netcheck.proof.result import Phase
from netcheck.proof.verdict.observation import HeardBefore, Observation, Owner, Silence
from netcheck.proof.verdict.silence_rule import Confirmed


def observe(port: PortState) -> Observation:
    """Return the judge's input as it stands now."""
    run, target, mac, pull = port.run, port.target, port.mac, port.pull
    shared = [] if mac is None else run.shared(target, mac, port.began)
    silences = (*port.silences, *(() if port.latest is None else (port.latest,)))
    return Observation(
        target=target,
        mac=mac,
        phases=tuple(port.results.items()),
        owners=_owners(port),
        device_macs=run.macs_of(target.device),
        cable=None if pull is None else pull.cable,
        connector=connector(port),
        not_moved=port.not_moved,
        silences=silences,
        requests_needed=port.requests_needed,
        confirmed_return=port.confirmed_return,
        stayed=port.stayed,
        fell_before=port.fell_before or bool(port.silences),
        unconfirmed=port.unconfirmed,
        hands_free=run.options.hands_free,
        controls=port.held,
        fallen=port.fallen,
        chained=port.chained_twice,
        instead=port.instead,
        negatives=_negatives(port),
        no_negative=not port.negatives,
        gateway_mac=_gateway_mac(port),
        is_gateway=target.address in run.gateways,
        shared=tuple(dict.fromkeys(other.interface for other in shared if other.device != target.device)),
        shared_own=tuple(dict.fromkeys(other.interface for other in shared if other.device == target.device)),
        planned_for=_planned_for(port),
        proven_for=_proven_for(port),
        heard_before=_heard_before(port),
        direct=run.options.direct,
        linked=run.carrier[0],
        strangers=_strangers(port) if run.options.direct else (),
        foreign_lldp=foreign(port),
        anonymous=port.anonymous,
        elsewhere=_elsewhere(port),
        late=mac is None and any(sighting.late for sighting in port.entry.heard(port.began)),
        forged=run.scheduler.matcher.forged - port.forged,
        lost_frames=port.lost_frames,
        cut=port.cut,
        void=port.void,
        skipped=port.skipped,
        answers_now=port.steady,
        hears_all=run.scheduler.hears_all,
        other_port=other_port(port),
        evidence=(*port.evidence.items(), *lldp_evidence(port), *_pulls(silences)),
        first_after=port.first_after,
        head_start=port.head_start,
        luck_limit=port.limit,
        unheard_limit=run.options.unheard,
    )


def _owners(port: PortState) -> tuple[Owner, ...]:
    """Return every MAC that was heard for the address, with the phase and the interface of this computer."""
    found: dict[tuple[int, Phase, int], bool] = {}
    for entry in (port.entry, *port.beyond):
        for sighting in entry.heard(port.began, port.ended):
            phase = phase_of(port, sighting)
            if phase is not None:
                key = (sighting.mac, phase, sighting.adapter)
                found[key] = found.get(key, True) and sighting.how == "echo"
    return tuple(Owner(mac, phase, adapter, echo_only) for (mac, phase, adapter), echo_only in found.items())


def phase_of(port: PortState, sighting: Sighting) -> Phase | None:
    """Return the phase that a sighting counts in.

    None for the device itself while its cable is out, because the phases evaluate its answers. If the device did not
    return after its cable was asked back, another MAC that is heard then counts in phase back.
    """
    itself, means = sighting.mac == port.mac and sighting.adapter == 0, sighting.means
    span = next((span for span in port.away if span[0] < means < span[1]), None)
    if span is None:
        return Phase.BACK if means >= port.back_from else Phase.IN
    if itself:
        return None
    asked_back = port.pull is not None and span[1] == EVER and means >= port.pull.plug_at
    return Phase.BACK if asked_back else Phase.OUT


def _negatives(port: PortState) -> tuple[tuple[int, int], ...]:
    macs = [(entry.address, mac) for entry in port.negatives for mac in entry.macs(port.began, port.ended)]
    return tuple(macs)


def _gateway_mac(port: PortState) -> int | None:
    gateway = port.run.scope.net(port.target.subnet).gateway
    entry = port.run.watched.get(gateway) if gateway is not None else None
    return None if entry is None else entry.mac


def _planned_for(port: PortState) -> str:
    """Return the other interface that the plan gives this MAC; empty if there is none."""
    planned = port.run.scope.macs.get(port.mac, "") if port.mac is not None else ""
    return planned if planned != port.target.interface else ""


def _proven_for(port: PortState) -> str:
    """Return the interface of another device that this MAC is already proven for; empty if there is none."""
    proven = port.run.proven.get(port.mac, "") if port.mac is not None else ""
    return proven if proven.split("/")[0] != port.target.device else ""


def _heard_before(port: PortState) -> tuple[HeardBefore, ...]:
    """Return the other MACs that were heard for the address by ARP, on any interface, at any time of the run."""
    started = port.run.started
    return tuple(
        HeardBefore(mac, round(first - started, 1), round(entry.last_heard.get(mac, first) - started, 1))
        for entry in (port.entry, *port.beyond)
        for mac, first in entry.first_heard.items()
        if mac != port.mac
    )


def _elsewhere(port: PortState) -> tuple[int, ...]:
    """Return the other addresses that the planned MAC was heard with."""
    said = port.run.heard_for.get(port.target.mac, {}) if port.target.mac is not None else {}
    return tuple(address for address in said if address not in (0, port.target.address))


def _strangers(port: PortState) -> tuple[int, ...]:
    """Return the MACs heard on the direct cable since it was plugged in that do not belong to the device.

    A MAC belongs to the device if the plan gives it to the device, or if it was heard only with planned addresses of
    the device.
    """
    run, device = port.run, port.target.device
    ours = run.macs_of(device) | {port.mac}
    addresses = {0} | {address for address, target in run.owner_of.items() if target.device == device}
    return tuple(
        mac
        for mac, said in run.heard_for.items()
        if max(said.values()) >= port.began and mac not in ours and not (set(said) <= addresses and set(said) != {0})
    )


def _pulls(silences: tuple[Silence, ...]) -> tuple[tuple[str, str], ...]:
    """Return evidence about each silence, if at least one silence answered a request."""
    if sum(silence.confirmed is Confirmed.REQUEST for silence in silences) < 1:
        return ()
    said = (
        f"silent for {silence.lasted:.1f} s, begun {silence.after or 0.0:.1f} s after the request"
        for silence in silences
    )
    return (("pulls", "; ".join(said)),)
