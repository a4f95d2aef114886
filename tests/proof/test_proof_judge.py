"""Tests of the judge over the full product of observations, against an oracle that knows only the order of the
verdicts.
"""

from __future__ import annotations

from dataclasses import replace
from ipaddress import IPv4Network
from itertools import product
from math import prod

import pytest

from netcheck.addr import mac_text
from netcheck.proof.result import Phase, PhaseResult, Tally, Verdict
from netcheck.proof.targets import Target
from netcheck.proof.verdict.judge import DECIDED_IN, TABLE, judge, verdict
from netcheck.proof.verdict.names import Names
from netcheck.proof.verdict.observation import HeardBefore, Observation, Owner, Silence
from netcheck.proof.verdict.silence_rule import Confirmed

MAC, SIBLING, STRANGER, OTHER = 0x5E005314, 0x5E005315, 0x5E005399, 0x5E005377
ADDRESS = 0xC0000214
NAMES = Names(lambda mac: "", lambda mac: None)
TARGET = Target(
    interface="alpha/cpu", port="1", device="alpha", address=ADDRESS, address_text="192.0.2.20", subnet="process"
)
IN, OUT, BACK = Phase.IN, Phase.OUT, Phase.BACK
WELL = (
    (IN, PhaseResult(Tally(8, 8), Tally(30, 30), 8.0)),
    (OUT, PhaseResult(Tally(9, 0), Tally(36, 0), 9.0)),
    (BACK, PhaseResult(Tally(3, 3), Tally(12, 12), 4.0)),
)
CONFIRMED = Silence(confirmed=Confirmed.OPERATOR, lasted=9.0, needed=7.5, missed=(9, 36), after=1.0)
ASKED = replace(CONFIRMED, confirmed=Confirmed.REQUEST)
SOUND = Observation(
    target=TARGET, mac=MAC, phases=WELL, owners=(Owner(MAC, IN), Owner(MAC, BACK)),
    device_macs=frozenset({MAC, SIBLING}),
    cable="operator", connector="operator", silences=(CONFIRMED,), confirmed_return=True, answers_now=True, controls=2,
)  # fmt: skip


def missed(arp: int, **changes: object) -> tuple[Silence, ...]:
    """Return one silence with *arp* unanswered ARP requests."""
    return (replace(CONFIRMED, **{"missed": (arp, 36), **changes}),)  # type: ignore[arg-type]


def arps(seen: tuple[int, int], out: int, back: int) -> tuple[tuple[Phase, PhaseResult], ...]:
    """Return the phases with other ARP tallies: phase in as (sent, answered), phases out and back as sent."""
    tallies = {IN: Tally(*seen), OUT: Tally(out, 0), BACK: Tally(back, back)}
    return tuple((name, replace(result, arp=tallies[name])) for name, result in WELL)


# Each feature: the possible observations, by name, as changes to a sound observation.
CUTS: dict[str, dict[str, object]] = {
    "whole": {},
    "stopped": {"cut": "the run was stopped"},
    "skipped": {"cut": "it was skipped", "skipped": True},
    "void": {"cut": "the cable came out", "void": True},
}
SECOND = {"none": (), "in": (Owner(STRANGER, IN),), "back": (Owner(STRANGER, BACK),), "sibling": (Owner(SIBLING, IN),)}
RELAYS: dict[str, dict[str, object]] = {
    "none": {},
    "negative": {"negatives": ((ADDRESS + 99, MAC), (ADDRESS + 98, MAC))},
    "gateway": {"gateway_mac": MAC},
    "shared": {"shared": ("beta/cpu",)},
}
SWAPS: dict[str, dict[str, object]] = {
    "none": {},
    "planned": {"planned_for": "beta/cpu"},
    "instead": {"instead": ("beta/cpu",)},
}
WHILE_OUT = {"none": (), "stranger": (Owner(STRANGER, OUT),), "own": (Owner(MAC, OUT),)}
DOUBTS: dict[str, dict[str, object]] = {
    "none": {},
    "deaf link": {"hears_all": False},
    "not direct": {"direct": True, "strangers": (STRANGER,)},
    "fallen": {"fallen": ("beta/cpu",)},
    "no control": {"controls": 0},
    "short": {"silences": (replace(CONFIRMED, lasted=7.4),)},
    "lucky": {"silences": missed(5, missed=(5, 2))},
    "not confirmed": {"confirmed_return": False, "silences": (ASKED,)},
    "heard before": {"heard_before": (HeardBefore(OTHER, 3.0, 4.0),)},
    "frames lost": {"lost_frames": 3},
    "few in": {"phases": arps((4, 4), 60, 3)},
    "few out": {"phases": arps((400, 400), 4, 3)},
    "few back": {"phases": arps((8, 8), 9, 2)},
    "connector": {"target": replace(TARGET, ordinal=1), "connector": "assumed"},
    "two interfaces": {"shared_own": ("alpha/module",)},
}
FEATURES = (CUTS, SECOND, RELAYS, SWAPS, (False, True), WHILE_OUT, (False, True), DOUBTS, (True, False))


def seen_with(
    cut: str, second: str, relay: str, swap: str, wrong: bool, while_out: str, stayed: bool, doubt: str, returned: bool
) -> Observation:
    """Return an observation with these features."""
    changes: dict[str, object] = {"stayed": stayed}
    for features in (CUTS[cut], RELAYS[relay], SWAPS[swap], DOUBTS[doubt]):
        changes.update(features)
    target = changes.pop("target", TARGET)
    assert isinstance(target, Target)
    changes["target"] = replace(target, mac=OTHER) if wrong else target
    changes["owners"] = (*SOUND.owners, *SECOND[second], *WHILE_OUT[while_out])
    seen = replace(SOUND, **changes)  # type: ignore[arg-type]
    if not returned:
        back = PhaseResult(Tally(seen.phase(BACK).arp.sent, 0), Tally(12, 0))
        seen = replace(seen, phases=tuple((p, back if p is BACK else result) for p, result in seen.phases))
    return seen


def expected(
    cut: str, second: str, relay: str, swap: str, wrong: bool, while_out: str, stayed: bool, doubt: str, returned: bool
) -> str:
    """Return the verdict by the order of the rows, from the features alone."""
    if second in ("in", "sibling") or (second == "back" and returned):
        return "contested"
    if relay != "none":
        return "relayed"
    if swap == "planned" or (swap == "instead" and stayed):
        return "swapped"
    if wrong:
        return "wrong-hardware"
    if while_out == "stranger":
        return "impostor"
    if stayed or while_out == "own":
        return "still-answering"
    if cut == "skipped":
        return "skipped"
    counted_after_return = doubt in ("few in", "few out", "few back", "lucky", "not confirmed")
    if cut != "whole" or (doubt != "none" and (returned or not counted_after_return)):
        return "unsettled"
    return "proven" if returned else "not-back"


def test_every_observation_gets_the_first_row_that_applies() -> None:
    """The judge and the oracle agree on the full product of features, about 38,000 observations."""
    wrong = {}
    for features in product(*FEATURES):
        got = verdict(seen_with(*features), NAMES)[0]
        if got != expected(*features):
            wrong[features] = got
    assert dict(list(wrong.items())[:5]) == {}


NOTHING = replace(SOUND, mac=None, phases=(), owners=(), cable=None, connector="assumed", silences=(), controls=0)


@pytest.mark.parametrize(
    ("changes", "word", "says"),
    [
        ({}, "silent", "Nothing answered"),
        ({"anonymous": MAC}, "silent", "mask"),
        ({"elsewhere": (ADDRESS + 1,)}, "silent", "192.0.2.21"),
        ({"late": True}, "silent", "late"),
        ({"linked": False}, "silent", "no link"),
        ({"cut": "the run was stopped"}, "not-tested", "stopped"),
        ({"cut": "it was skipped", "skipped": True}, "skipped", "before anything had answered"),
        ({"cut": "own cable out", "void": True}, "unsettled", "own cable out"),
        ({"target": replace(TARGET, barred="IPv6 is not probed")}, "not-tested", "IPv6 is not probed"),
        ({"negatives": ((ADDRESS + 99, STRANGER),)}, "silent", "Nothing answered"),
        ({"owners": (Owner(STRANGER, IN), Owner(OTHER, IN))}, "silent", "Nothing answered"),
    ],
    ids=lambda value: str(value)[:30],
)
def test_verdicts_without_a_reply(changes: dict[str, object], word: str, says: str) -> None:
    """Without a reply, the verdict is silent, not-tested or unsettled, and the reason says which condition applied."""
    got, why = verdict(replace(NOTHING, **changes), NAMES)  # type: ignore[arg-type]
    assert got == word
    assert says in why


def test_table_has_every_verdict_once_and_in_order() -> None:
    """The table has the order of `Verdict`, except that not-tested comes first, since it needs no observation."""
    order = [word for word, _ in TABLE]
    assert order == [Verdict.NOT_TESTED, *[word for word in Verdict if word is not Verdict.NOT_TESTED]]
    assert all(order.index(word) < order.index(Verdict.IMPOSTOR) for word in DECIDED_IN)


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"mac": 0x00005E000105, "owners": ()}, "relayed"),
        ({"mac": 0x00005E0002FF, "owners": ()}, "relayed"),
        ({"mac": 0x00005E000305, "owners": ()}, "proven"),
        ({"owners": (Owner(MAC, IN), Owner(STRANGER, IN, echo_only=True))}, "relayed"),
        ({"owners": (Owner(MAC, IN), Owner(STRANGER, BACK, echo_only=True))}, "relayed"),
        ({"gateway_mac": MAC, "is_gateway": True}, "proven"),
        ({"cable": "carrier", "controls": 0}, "proven"),
        ({"cable": None, "controls": 0}, "unsettled"),
        ({"planned_for": "alpha/module"}, "swapped"),
        ({"proven_for": "beta/cpu"}, "swapped"),
        ({"owners": (Owner(MAC, IN), Owner(SIBLING, OUT))}, "still-answering"),
        ({"owners": (Owner(MAC, IN), Owner(STRANGER, IN, adapter=1))}, "contested"),
        ({"owners": (Owner(MAC, IN), Owner(MAC, IN, adapter=1))}, "proven"),
        ({"owners": (Owner(MAC, IN), Owner(MAC, OUT, adapter=1))}, "still-answering"),
        ({"cable": "inferred", "silences": missed(9, searched=(1000, 1000), confirmed=Confirmed.NOTHING)}, "unsettled"),
        ({"negatives": ((ADDRESS + 99, MAC),)}, "proven"),
        ({"foreign_lldp": (OTHER,), "direct": True, "cable": "carrier"}, "unsettled"),
        ({"answers_now": False}, "not-back"),
        ({"stayed": True, "unconfirmed": True}, "still-answering"),
        ({"confirmed_return": False, "silences": (ASKED, ASKED)}, "proven"),
        ({"confirmed_return": False, "silences": (ASKED, ASKED), "requests_needed": 3}, "unsettled"),
        ({"confirmed_return": False, "silences": (ASKED,), "once": True}, "proven"),
        ({"cable": "inferred", "silences": missed(9, after=61.0)}, "unsettled"),
        ({"silences": missed(9, after=61.0)}, "proven"),
        ({"heard_before": (HeardBefore(STRANGER, 1.0, 2.0),), "owners": (Owner(STRANGER, OUT),)}, "impostor"),
        ({"connector_unknown": True, "connector": "assumed"}, "unsettled"),
        ({"connector_unknown": True, "connector": "assumed", "target": replace(TARGET, mac=MAC)}, "proven"),
        ({"direct": True, "strangers": (OTHER,), "cable": "carrier"}, "unsettled"),
        ({"evidence": (("mask", "mask as planned"), ("gateway", "gateway is 192.0.2.1, as planned"))}, "proven"),
        ({"evidence": (("mask", "mask is /25, planned /24"),)}, "wrong-settings"),
        ({"evidence": (("gateway", "no gateway set, planned 192.0.2.1"),)}, "wrong-settings"),
        ({"evidence": (("gateway", "gateway is 192.0.2.9, none planned"),)}, "wrong-settings"),
        ({"evidence": (("gateway", "no gateway set"),)}, "proven"),
        ({"evidence": (("mask", "cannot tell: it is one of /20, planned /24"),)}, "proven"),
        ({"evidence": (("mask", "mask is /25, planned /24"),), "answers_now": False}, "not-back"),
        ({"evidence": (("mask", "mask is /25, planned /24"),), "cut": "x", "skipped": True}, "skipped"),
    ],
    ids=lambda value: str(value)[:60],
)
def test_one_change_gives_the_expected_verdict(changes: dict[str, object], word: str) -> None:
    """One changed observation gives the expected verdict; virtual router MACs are from RFC 7042 section 2.1.1."""
    assert verdict(replace(SOUND, **changes), NAMES)[0] == word  # type: ignore[arg-type]


def test_wrong_settings_name_what_was_found_and_what_to_type() -> None:
    """The sentence has what was found, what is planned and what to type; the mask's form is that of `ipaddress`."""
    evidence = (("mask", "mask is /25, planned /20"), ("gateway", "gateway is 192.0.2.9, planned 192.0.2.1"))
    why = judge(replace(SOUND, evidence=evidence), NAMES).why
    netmask = IPv4Network("10.0.0.0/20").netmask
    assert "mask is /25, planned /20 and gateway is 192.0.2.9, planned 192.0.2.1" in why
    assert f"Type the mask {netmask} and type the gateway 192.0.2.1, then prove it again." in why


def test_swapped_names_the_other_device_once() -> None:
    """The names of a MAC say for which interface it is planned; the sentence does not say it a second time."""
    names = Names(known_as=lambda mac: "planned for beta/cpu", vendor=lambda mac: None)
    why = judge(replace(SOUND, planned_for="beta/cpu", device_macs=frozenset()), names).why
    assert why.count("beta/cpu") == 1


def test_wrong_settings_are_told_with_every_other_verdict() -> None:
    """A port with another verdict names its wrong settings as well, because no report format shows the evidence."""
    proof = judge(replace(SOUND, evidence=(("mask", "mask is /25, planned /20"),), answers_now=False), NAMES)
    assert proof.verdict == "not-back"
    assert "mask is /25, planned /20" in proof.why


def test_chain_on_a_direct_cable_needs_a_planned_mac() -> None:
    """On a direct cable, a device whose second port is connected is proven only if the plan has its MAC."""
    chain = replace(
        SOUND, direct=True, strangers=(STRANGER,), cable="carrier", target=replace(TARGET, ports=2, mac=MAC)
    )
    assert verdict(chain, NAMES)[0] == "proven"
    assert verdict(replace(chain, target=replace(TARGET, ports=2)), NAMES)[0] == "unsettled"


def test_luck_is_the_larger_figure_and_counts_the_probes_searched() -> None:
    """Luck is the larger figure of ARP and echo, multiplied over the silences.

    If the start of a silence was inferred, it counts the probes among which the misses were searched for.
    """
    asked = replace(SOUND, silences=(ASKED,))
    sound = asked.luck
    assert sound is not None
    assert sound == pytest.approx(prod((0.5 + i) / (9 + i) for i in range(9)))
    inferred = replace(SOUND, silences=missed(9, searched=(3, 7), confirmed=Confirmed.NOTHING))
    assert inferred.luck == pytest.approx(3 * sound)
    assert replace(SOUND, silences=(ASKED, ASKED)).luck == pytest.approx(sound**2)
    assert replace(SOUND, silences=()).luck is None
    assert replace(SOUND, cable="carrier").luck is None
    by_echo = replace(asked, phases=arps((8, 0), 9, 3)).luck
    assert by_echo is not None
    assert by_echo < 1e-12  # only echo was answered


def test_echo_alone_counts_where_the_operator_confirms_and_nothing_was_lost() -> None:
    """If both movements are confirmed and phase in lost nothing, the figure is that of echo, and a note has both
    figures. After a loss of either kind, without the operator, or without echo, the larger figure counts.
    """
    by_arp = replace(SOUND, silences=(ASKED,)).luck
    assert by_arp is not None
    assert SOUND.luck == pytest.approx(prod((0.5 + i) / (31 + i) for i in range(36)))
    assert any(f"{by_arp:.1e} by ARP" in note for note in judge(SOUND, NAMES).notes)
    lost = replace(SOUND, phases=((IN, PhaseResult(Tally(8, 8), Tally(30, 29), 8.0)), *WELL[1:]))
    assert lost.luck == by_arp
    assert not any("by ARP" in note for note in judge(lost, NAMES).notes)
    mute = replace(SOUND, phases=((IN, PhaseResult(Tally(8, 8), Tally(30, 0), 8.0)), *WELL[1:]))
    assert mute.luck == by_arp


def test_unheard_counts_the_broadcasts_of_all_phases() -> None:
    """The chance that a second owner was not heard is 0.5 to the number of broadcasts of all phases."""
    assert SOUND.unheard == 0.5**20
    assert replace(SOUND, hears_all=False).unheard is None


def test_proof_holds_what_was_observed() -> None:
    """The proof has the observation's values and lists each other MAC with its phase."""
    seen = replace(SOUND, owners=(*SOUND.owners, Owner(STRANGER, OUT)), negatives=((ADDRESS + 99, OTHER),))
    proof = judge(seen, Names(lambda mac: "a laptop" if mac == STRANGER else "", lambda mac: "a vendor"))
    assert (proof.verdict, proof.mac, proof.vendor, proof.echo) == (Verdict.IMPOSTOR, MAC, "a vendor", "answered")
    assert (proof.cable, proof.connector, proof.identity) == ("operator", "operator", "learned")
    assert {(o.mac, o.phase, o.known_as) for o in proof.others} == {(STRANGER, "out", "a laptop"), (OTHER, "in", "")}
    assert "a laptop" in proof.why
    assert mac_text(OTHER) in "".join(proof.notes)
    assert type(proof).from_json(proof.to_json()) == proof


@pytest.mark.parametrize(
    ("negatives", "says"),
    [
        (((ADDRESS + 99, STRANGER),), "which no list has"),
        (((ADDRESS + 99, STRANGER), (ADDRESS + 98, STRANGER)), "proxy ARP"),
    ],
    ids=["one answer", "two answers"],
)
def test_a_reply_for_a_control_address_is_noted(negatives: tuple[tuple[int, int], ...], says: str) -> None:
    """One reply for a control address is an unlisted host; two replies from one MAC are proxy ARP."""
    proof = judge(replace(SOUND, negatives=negatives), NAMES)
    assert proof.verdict == "proven"
    assert any(says in note for note in proof.notes)
