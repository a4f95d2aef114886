"""Tests of the tallies of one address against a plain count of its probes, and of the phase of a sighting."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from netcheck.proof.events import RunOptions
from netcheck.proof.port.controls import trusted
from netcheck.proof.port.observe import phase_of
from netcheck.proof.port.pull import Pull
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER, REPLACED, AddressState, Probe, ProbeKind, Sighting
from netcheck.proof.probing.scheduler import Pace, ProbeScheduler
from netcheck.proof.result import Phase, Tally
from netcheck.proof.run_state import RunState
from netcheck.proof.targets import Net, Scope, Target
from netcheck.proof.verdict.silence_rule import luck
from netcheck.wire.link import Adapter

MAC, OTHER, ADDRESS = 0x5E005314, 0x5E005399, 0xC0000214
NET = Net("process", 0xC0000200, 24)


def state_with(history: list[tuple[ProbeKind, bool]], mac: int = MAC) -> AddressState:
    """Return the state of an address with one settled probe a second, answered or missed as given."""
    entry = AddressState(ADDRESS, 0, "process")
    entry.keep(1000)
    for second, (kind, answered) in enumerate(history):
        probe = Probe(kind, ADDRESS, 0, second, float(second), second + 1.0)
        entry.probes.append(probe)
        if answered:
            entry.note(Sighting(second + 0.1, ADDRESS, mac, str(kind), 0, asked=float(second)), probe)
        entry.settle(probe)
    return entry


histories = st.lists(st.tuples(st.sampled_from(ProbeKind), st.booleans()), max_size=60)


@given(histories, st.floats(0, 60), st.floats(0, 60))
def test_tally_is_a_plain_count(history: list[tuple[ProbeKind, bool]], since: float, until: float) -> None:
    """A tally holds the number of probes sent in a time span, and how many of them were answered."""
    entry = state_with(history)
    for kind in ProbeKind:
        inside = [hit for second, (k, hit) in enumerate(history) if k is kind and since <= second < until]
        tally = entry.tally(kind, since, until, MAC)
        assert (tally.sent, tally.answered) == (len(inside), sum(inside))
        assert entry.tally(kind, since, until, OTHER).answered == 0


@given(histories, st.integers(1, 5))
def test_fallen_means_misses_that_luck_does_not_explain(history: list[tuple[ProbeKind, bool]], least: int) -> None:
    """An address has fallen silent if its misses in a row since the last reply are improbable after the earlier
    replies.
    """
    hits = [hit for _, hit in history]
    run = hits[::-1].index(True) if True in hits else len(hits)
    before, after = history[: len(history) - run], history[len(history) - run :]
    chance, missed = 1.0, 0
    for kind in ProbeKind:
        past = [hit for k, hit in before if k is kind]
        if any(past):
            misses = sum(k is kind for k, _ in after)
            missed += misses
            chance *= luck(len(past), sum(past), misses)
    expected = missed >= least and chance <= 1e-2
    assert state_with(history).fallen(MAC, 0.0, 1e-2, least) is expected


def test_open_and_anonymous_probes_count_in_no_tally() -> None:
    """A probe that is still open, or was sent without a sender address, is in no tally."""
    entry = state_with([(ProbeKind.ARP, True)] * 3)
    entry.probes.append(Probe(ProbeKind.ARP, ADDRESS, 0, 9, 9.0, 10.0))
    entry.probes.append(Probe(ProbeKind.ARP, ADDRESS, 0, 10, 10.0, 11.0, anonymous=True, settled=True))
    assert entry.tally(ProbeKind.ARP, 0.0, EVER, MAC).sent == 3


@pytest.mark.parametrize(("answers", "gap"), [("111", 1.0), ("1011", 2.0), ("100010", 4.0), ("1", 0.0), ("", 0.0)])
def test_longest_gap(answers: str, gap: float) -> None:
    """The longest gap is the longest time between two replies."""
    entry = state_with([(ProbeKind.ECHO, answer == "1") for answer in answers])
    assert entry.longest_gap(0.0, EVER, MAC) == pytest.approx(gap)


def test_a_watched_address_follows_a_new_device() -> None:
    """Echo requests to a watched address go to another MAC only after some seconds of silence, and not while it is
    under test.
    """
    for urgent, after, follows in ((False, 1.0, False), (False, REPLACED + 1, True), (True, REPLACED + 1, False)):
        entry = state_with([(ProbeKind.ARP, True)])
        entry.urgent = urgent
        probe = Probe(ProbeKind.ARP, ADDRESS, 0, 5, after, after + 1.0)
        entry.probes.append(probe)
        entry.note(Sighting(after + 0.1, ADDRESS, OTHER, "arp", 0, asked=after), probe)
        assert entry.mac == (OTHER if follows else MAC)


def case() -> PortState:
    """Return the state of a port before the first probe."""
    target = Target(
        interface="alpha/cpu",
        port="1",
        device="alpha",
        address=ADDRESS,
        address_text="192.0.2.20",
        subnet="process",
        mac=MAC,
    )
    scheduler = ProbeScheduler((Adapter("x0", 0x5E005301),), True, Pace(), Random(1))
    run = RunState(Scope(targets=(target,), asked=(target,), nets=(NET,)), RunOptions(), scheduler, Random(1))
    made = PortState(run, target)
    made.mac = MAC
    return made


@pytest.mark.parametrize(
    ("mac", "at", "phase"),
    [
        (MAC, 5, Phase.IN), (OTHER, 5, Phase.IN),
        (MAC, 11, None), (OTHER, 11, Phase.OUT),
        (MAC, 21, None), (OTHER, 21, Phase.OUT),  # the cable was asked for, and is not in yet
        (MAC, 25, Phase.BACK), (OTHER, 25, Phase.BACK),
        (OTHER, 7, Phase.OUT),  # an earlier disconnection, which did not count
    ],
    ids=str,
)  # fmt: skip
def test_phase_of_a_sighting(mac: int, at: int, phase: Phase | None) -> None:
    """A sighting belongs to the phase of its request: `in` until 10 s, `out` until 23 s; the cable is asked back at 20
    s.
    """
    made = case()
    made.pull = Pull(9.0)
    made.away, made.back_from = [[6.0, 8.0], [10.0, 23.0]], 23.0
    made.pull.plug_at, made.pull.returned = 20.0, 23.0
    assert phase_of(made, Sighting(at + 0.2, ADDRESS, mac, "arp", 0, asked=float(at))) is phase


def test_another_mac_where_the_device_never_returns() -> None:
    """If the device does not return, another MAC belongs to phase out until the cable is asked back, and then to phase
    back.
    """
    made = case()
    made.pull = Pull(9.0)
    made.away, made.pull.plug_at = [[10.0, EVER]], 20.0
    found = [phase_of(made, Sighting(at + 0.2, ADDRESS, OTHER, "arp", 0, asked=at)) for at in (15.0, 21.0)]
    assert found == [Phase.OUT, Phase.BACK]


def test_a_late_answer_belongs_to_the_phase_of_its_probe() -> None:
    """A reply that arrives in phase out to a request of phase in counts for phase in."""
    made = case()
    made.away = [[10.0, EVER]]
    assert phase_of(made, Sighting(12.5, ADDRESS, MAC, "echo", 0, asked=9.9, late=True)) is Phase.IN


def test_a_probe_that_was_not_sent_counts_for_nothing() -> None:
    """A probe that did not leave the interface is in no tally, is no miss, and leaves no echo unanswered."""
    scheduler = ProbeScheduler((Adapter("x0", 0x5E005301),), True, Pace(), Random(1))
    scheduler.senders[0, "process"] = ADDRESS - 1
    entry = scheduler.entry(ADDRESS, "process")
    scheduler.ask(entry, 0.0, arp=1.01)
    (send,) = scheduler.due(0.0)
    scheduler.not_sent(send)
    scheduler.settle(10.0)
    assert (entry.asked, entry.asked_arp, list(entry.probes)) == (0, 0, [])
    assert entry.tallies(0.0, EVER, MAC) == (Tally(0, 0), Tally(0, 0))


@pytest.mark.parametrize(
    ("answered", "holds"),
    [
        ([11.0, 12.0, 13.0, 14.0, 15.0, 16.0, 17.0, 18.0], True),
        ([11.0, 14.0, 17.0], True),
        ([11.0, 12.0], False),  # fell silent a little later
        ([17.5, 18.5], False),  # silent, and back before the end
        ([10.5, 18.5], False),  # silent in the middle, and back
        ([], False),
    ],
    ids=["goes on", "goes on sparsely", "fell later", "back again", "out in the middle", "never"],
)
def test_a_control_must_answer_in_the_middle_of_the_silence(answered: list[float], holds: bool) -> None:
    """A control proves the silence only if it answered from 13 to 16, in the middle of a silence from 10 to 19."""
    made = case()
    made.pull, made.run.now = Pull(9.0), 19.0
    made.pull.counted_from = made.pull.silent_from = 10.0
    control = AddressState(ADDRESS + 1, 0, "process")
    control.answered.extend(answered)
    made.pull.controls = [control]
    assert (trusted(made) == [control]) is holds


def test_the_gateway_counts_only_where_it_is_alone() -> None:
    """The gateway is a control only if no other device answers."""
    made = case()
    made.pull, made.run.now = Pull(9.0), 19.0
    made.pull.counted_from = made.pull.silent_from = 10.0
    silent, alive = AddressState(ADDRESS + 1, 0, "process"), AddressState(ADDRESS + 2, 0, "process")
    alive.answered.extend([14.0, 17.0])
    made.pull.gateway, made.pull.controls = silent, [alive]
    assert trusted(made) == [alive]
    made.pull.controls = []
    assert trusted(made) == []
