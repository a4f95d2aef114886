"""Tests of the verdict for each situation at a port, and of the limits on the frames sent.

The faults are common practice (no source) or were measured on real kernels; timings are RFC 5227 section 1.1 and
IEEE 802.1D's forward delay of 15 s, twice, by RFC 4188.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest

from netcheck.proof.events import Key
from netcheck.rig.devices import Faults
from tests.rig.scenes import Scene, forbidden_frames, ip
from tests.rig.troubles import (
    STRANGER_TEXT,
    absent,
    absent_seen_elsewhere,
    alone,
    barred,
    borrowed_is_claimed,
    borrowed_is_owned,
    chain,
    chain_alone,
    chain_direct,
    confirms_without_a_pull,
    echo_from_another,
    faulty,
    flapping,
    forwards_after,
    gateway_alone,
    gateway_answers,
    hasty,
    interface_off,
    interface_removed,
    keyed,
    lossy,
    moved_direct,
    never_pulled,
    never_returns,
    no_control,
    no_station,
    not_direct,
    other_adapter,
    other_adapter_same_device,
    outage_over_just_in_time,
    own_cable,
    own_cable_once,
    owner_with_the_cable_out,
    pair,
    planned_is_ours,
    pressing,
    proven_before,
    proxied_by_a_router_elsewhere,
    proxy_arp,
    reboots,
    returns_as_another,
    second_owner_announces,
    second_path,
    self_check_at_the_last_moment,
    swapped,
    takes_over,
    trunk_pulled_too_early,
    two_owners,
    two_ports,
    virtual_router,
    weak_host,
    weak_host_when_pulled,
    wrong_cable,
    wrong_cable_left_out_too,
    wrong_nameplate,
)


@dataclass(frozen=True)
class Case:
    """A plant and its expected verdict; `says` are words of the reason, `proof` further fields of the proof."""

    id: str
    build: Callable[[], Scene]
    verdict: str
    says: tuple[str, ...] = ()
    proof: tuple[tuple[str, object], ...] = ()
    notes: str = ""


INFERRED, OPERATOR, CARRIER = (("cable", how) for how in ("inferred", "operator", "carrier"))
CASES = (
    Case("healthy", pair, "proven", (), (INFERRED, ("identity", "planned"), ("echo", "answered")), "inferred"),
    Case("healthy, borrowed address", lambda: pair(own=False), "proven", (), (INFERRED,)),
    Case("healthy, with keys", lambda: keyed(pair()), "proven", (), (OPERATOR, ("connector", "operator"))),
    Case("healthy, direct", alone, "proven", ("the link dropped",), (CARRIER, ("luck", None))),
    Case("healthy, direct, borrowed", lambda: alone(own=False), "proven", (), (CARRIER,)),
    Case("direct cable moved on", moved_direct, "proven", (), (CARRIER,)),
    Case("absent", absent, "silent", ("192.0.2.20",)),
    Case("absent, heard from another address", absent_seen_elsewhere, "silent", ("192.0.2.77", "00-00-5E-00-53-14")),
    Case("deaf to this station", lambda: faulty(Faults(deaf_to=lambda sender: True)), "silent", ("mask",)),
    Case("two owners", two_owners, "contested", (STRANGER_TEXT,)),
    Case("second owner only announces", second_owner_announces, "contested", (STRANGER_TEXT,)),
    Case("owner with the cable out", owner_with_the_cable_out, "impostor", (STRANGER_TEXT,)),
    Case("stranger takes over", lambda: takes_over(False), "impostor", (STRANGER_TEXT,)),
    Case("own module takes over", lambda: takes_over(True), "still-answering", ("00-00-5E-00-53-16",)),
    Case("another returns instead", lambda: returns_as_another(False), "not-back", (STRANGER_TEXT,)),
    Case("another returns beside it", lambda: returns_as_another(True), "contested", (STRANGER_TEXT,)),
    Case("proxy ARP, absent host", lambda: proxy_arp(True), "relayed", ("192.0.2.253", "anything")),
    Case("proxy ARP, live host", lambda: proxy_arp(False), "contested"),
    Case("one MAC for two devices", proxied_by_a_router_elsewhere, "relayed", ("beta/cpu",)),
    Case("gateway answers", gateway_answers, "relayed", ("gateway",)),
    Case("virtual router", virtual_router, "relayed", ("virtual router",)),
    Case("echo from another MAC", echo_from_another, "relayed", (STRANGER_TEXT, "echo")),
    Case("swapped, MACs planned", lambda: swapped(True), "swapped", ("beta/cpu",)),
    Case("swapped, MACs unknown", lambda: swapped(False), "swapped", ("beta/cpu",)),
    Case("proven before as another", proven_before, "swapped", ("gamma/cpu",)),
    Case("wrong nameplate", wrong_nameplate, "wrong-hardware", (STRANGER_TEXT, "00-00-5E-00-53-14")),
    Case("weak host, both in", lambda: weak_host(True), "contested", ("one device",)),
    Case("weak host, one unplugged", lambda: weak_host(False), "swapped", ("through another",)),
    Case("weak host when pulled", weak_host_when_pulled, "still-answering"),
    Case("ring", second_path, "still-answering", ("never fell silent: the cable was not pulled, or",)),
    Case("self-check at link-up", lambda: faulty(Faults(checks_itself=True)), "proven"),
    Case("self-check at the last moment", self_check_at_the_last_moment, "proven"),
    Case("forwards after 20 s", lambda: forwards_after(20), "proven"),
    Case("forwards after 30 s", lambda: forwards_after(30), "proven", (), (), "first answer came after 3"),
    Case("never returns", never_returns, "not-back"),
    Case("dies when pulled", lambda: faulty(Faults(dies_when_pulled=True)), "not-back"),
    Case("echo ignored", lambda: faulty(Faults(echo=False)), "proven", (), (("echo", "blocked"),), "blocked"),
    Case("10 % lost each adapter", lambda: lossy(0.1), "proven"),
    Case("30 % lost each adapter", lambda: lossy(0.3), "proven"),
    Case("50 % lost each adapter", lambda: lossy(0.5), "proven"),
    Case("control lossy", lambda: lossy(0.0, 0.3), "proven"),
    Case("slow", lambda: faulty(Faults(slow=0.8)), "proven"),
    Case("late", lambda: faulty(Faults(slow=4.0)), "proven", (), (("echo", "blocked"),)),
    Case("boots for 20 s", lambda: faulty(Faults(boots_in=20)), "proven"),
    Case(
        "wrong identifier",
        lambda: faulty(Faults(wrong_identifier=True)),
        "proven",
        (),
        (("echo", "blocked"),),
        "match no probe",
    ),
    Case(
        "wrong payload",
        lambda: faulty(Faults(wrong_payload=True)),
        "proven",
        (),
        (("echo", "blocked"),),
        "match no probe",
    ),
    Case(
        "wrong source",
        lambda: faulty(Faults(wrong_source=ip(99))),
        "proven",
        (),
        (("echo", "blocked"),),
        "match no probe",
    ),
    Case("owner elsewhere, from the start", lambda: other_adapter(heard="in"), "contested", ("another interface",)),
    Case("owner elsewhere, cable out", lambda: other_adapter(heard="out"), "impostor", ("another interface",)),
    Case("owner elsewhere, borrowed", lambda: other_adapter(heard="out", own=False), "impostor", (STRANGER_TEXT,)),
    Case("same device elsewhere", other_adapter_same_device, "still-answering", ("second path",)),
    Case("own cable, carrier drops", lambda: own_cable(True), "unsettled", ("own cable",)),
    Case("own cable, carrier stays", lambda: own_cable(False), "unsettled", ("everything fell silent", "beta/cpu")),
    Case("own cable, then the right one", own_cable_once, "proven"),
    Case("wrong cable left out", lambda: wrong_cable(False), "swapped", ("beta/cpu", "wrong cable")),
    Case("wrong cable, corrected", lambda: wrong_cable(True), "proven"),
    Case("wrong cable left out, then the right one", wrong_cable_left_out_too, "proven"),
    Case("flapping link, fast", lambda: flapping(pair(), 2), "unsettled", ("flapping",)),
    Case("flapping link, slow", lambda: flapping(pair(), 5), "unsettled", ("too soon",)),
    Case("flapping link, direct", lambda: flapping(alone(), 2), "unsettled", ("too soon",)),
    Case("reboots by itself", lambda: reboots(2.0, 20.0), "proven"),
    Case("interface removed, phase in", lambda: interface_removed(2.0), "unsettled", ("gone",)),
    Case("interface removed, phase out", lambda: interface_removed(10.0), "unsettled", ("gone",)),
    Case("interface off in phase in", lambda: interface_off(pair(), 2.0, 5.0), "proven"),
    Case("interface off for good", lambda: interface_off(pair(), 2.0, 1e6), "unsettled", ("gone",)),
    Case("interface off, direct", lambda: interface_off(never_pulled(alone()), 12.0, 20.0), "still-answering"),
    Case("borrowed address owned", borrowed_is_owned, "not-tested", (STRANGER_TEXT,)),
    Case("borrowed address claimed", lambda: borrowed_is_claimed(12.0), "unsettled", (STRANGER_TEXT,)),
    Case("never pulled", lambda: never_pulled(pair()), "still-answering", ("never fell silent",)),
    Case("never pulled, direct", lambda: never_pulled(alone()), "still-answering", ("never fell silent",)),
    Case("second port, hands-free", lambda: two_ports(Scene()), "not-tested", ("this connector",)),
    Case("second port, with Enter", lambda: keyed(two_ports(Scene())), "proven", (), (("connector", "operator"),)),
    Case("chain, plan silent", lambda: chain(""), "unsettled", ("gamma/cpu", "behind")),
    Case("chain, plan says behind", lambda: chain("alpha/cpu:2"), "proven"),
    Case("chain, no gateway", lambda: chain("", gateway=False), "unsettled", ("gamma/cpu",)),
    Case("chain is all there is", chain_alone, "unsettled", ("gamma/cpu",)),
    Case("chain on the direct cable", lambda: chain_direct(True), "proven", (), (CARRIER,), "other devices"),
    Case("chain on the direct cable, MAC unknown", lambda: chain_direct(False), "unsettled", ("not direct",)),
    Case("row's cable, Enter too early", trunk_pulled_too_early, "unsettled", ("beta/cpu",)),
    Case("outage over just in time", outage_over_just_in_time, "unsettled", ("everything fell silent",)),
    Case("gateway is the only control", gateway_alone, "proven"),
    Case("no control", no_control, "unsettled", ("--direct",)),
    Case("not direct", not_direct, "unsettled", ("not direct", STRANGER_TEXT)),
    Case("Enter 5 s too early", lambda: hasty(5.0), "proven", (), (OPERATOR,)),
    Case("Enter and nothing pulled", confirms_without_a_pull, "still-answering", ("when the cable was to be out",)),
    Case("skip, nothing answered", lambda: pressing(Key.SKIP, 20, absent()), "skipped", ("skipped",)),
    Case("skip in phase in", lambda: pressing(Key.SKIP, 2, pair()), "skipped", ("skipped",)),
    Case("skip in phase out", lambda: pressing(Key.SKIP, 10, pair()), "skipped", ("skipped",)),
    Case("skip in phase back", lambda: pressing(Key.SKIP, 25, pair()), "skipped", ("skipped",)),
    Case("quit, nothing answered", lambda: pressing(Key.QUIT, 20, absent()), "not-tested", ("stopped",)),
    Case("quit in phase in", lambda: pressing(Key.QUIT, 2, pair()), "unsettled", ("stopped",)),
    Case("quit in phase out", lambda: pressing(Key.QUIT, 10, pair()), "unsettled", ("stopped",)),
    Case("quit in phase back", lambda: pressing(Key.QUIT, 25, pair()), "unsettled", ("stopped",)),
    Case("quit while claiming", lambda: pressing(Key.QUIT, 2, pair(own=False)), "not-tested", ("stopped",)),
    Case("IPv6", lambda: barred("IPv6 is not probed"), "not-tested", ("IPv6 is not probed",)),
    Case("no address", lambda: barred("it has no address in the plan"), "not-tested", ("no address",)),
    Case("no station address", no_station, "not-tested", ("no address in process",)),
    Case("planned address is the computer's", lambda: planned_is_ours(False), "not-tested", ("x0",)),
    Case("planned address is the plan's station", lambda: planned_is_ours(True), "not-tested", ("station address",)),
    Case("link cannot hear all", lambda: pair(hears_all=False), "unsettled", ("--link raw",)),
)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.id)
def test_verdict(case: Case) -> None:
    """Each plant gets its verdict, and only permitted frames are sent."""
    ran = case.build().prove()
    proof = ran.proof
    assert proof.verdict == case.verdict, proof
    assert [word for word in case.says if word not in proof.why] == [], proof.why
    assert {name: getattr(proof, name) for name, _ in case.proof} == dict(case.proof)
    assert case.notes in "; ".join(proof.notes)
    assert forbidden_frames(ran) == []
