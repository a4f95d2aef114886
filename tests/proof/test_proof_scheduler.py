"""Tests of the pace and the senders of probes: RFC 1122 section 2.3.2.1 allows one ARP request a second an address."""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.proof.probing.address_state import AddressState
from netcheck.proof.probing.scheduler import Pace, ProbeScheduler
from netcheck.wire.frames import BROADCAST, arp_from_wire, arp_reply, arp_request, echo_from_wire
from netcheck.wire.link import Adapter, Heard

STATION, OWN, FIRST = 0x5E005301, 0xC0000201, 0xC6120000
Sent = list[tuple[float, bytes]]


PACE = Pace()


def scheduler(pace: Pace = PACE) -> ProbeScheduler:
    """Return a scheduler with a sender address."""
    made = ProbeScheduler((Adapter("x0", STATION, ((OWN, 24),)),), True, pace, Random(1))
    made.senders[0, "process"] = OWN
    return made


def run(made: ProbeScheduler, since: float, seconds: float, answer: bool = True, delay: float = 0.0) -> Sent:
    """Send what is due within *seconds*, each frame *delay* seconds late and each request answered after a millisecond;
    return the frames sent.
    """
    sent: Sent = []
    now = since
    while now < since + seconds:
        made.settle(now)
        for send in made.due(now):
            sent.append((now, send.frame))
            made.sent(send, now + delay)
            arp = arp_from_wire(send.frame)
            if arp is not None and answer:
                reply = arp_reply(0x020000000000 + arp.target_ip, arp.target_ip, STATION, OWN)
                made.hear(Heard(now + 0.001, 0, reply))
        assert made.wake > now
        now = min(made.wake, since + seconds)
    return sent


def target(frame: bytes) -> int:
    """Return the address that a frame asks for."""
    arp, echo = arp_from_wire(frame), echo_from_wire(frame)
    assert arp is not None or echo is not None
    return arp.target_ip if arp is not None else echo.target_ip  # type: ignore[union-attr]


def most_in_a_second(moments: list[float]) -> int:
    """Return the largest number of moments in any window of one second."""
    return max((bisect_left(moments, at + 1.0) - index for index, at in enumerate(moments)), default=0)


def check_pace(sent: Sent, pace: Pace) -> None:
    """Assert that the frames sent keep the pace in every window of one second."""
    broadcast = BROADCAST.to_bytes(6, "big")
    by_address, broadcasts = defaultdict(list), defaultdict(list)
    for at, frame in sent:
        by_address[target(frame)].append(at)
        if frame[:6] == broadcast:
            broadcasts[target(frame)].append(at)
    assert most_in_a_second([at for at, _ in sent]) <= pace.total
    assert most_in_a_second(sorted(at for moments in broadcasts.values() for at in moments)) <= pace.broadcast
    assert all(most_in_a_second(moments) <= pace.each for moments in by_address.values())
    assert all(most_in_a_second(moments) <= 1 for moments in broadcasts.values())


@pytest.mark.parametrize(
    ("entries", "echo", "pace"),
    [
        (1, 0.01, Pace()),
        (40, 0.05, Pace()),
        (600, 1.01, Pace()),
        (30, 0.1, Pace(50, 20, 5)),
        (5, 0.1, Pace(500, 20, 2)),
    ],
    ids=["one, greedy", "forty, greedy", "six hundred", "slow in all", "slow to each"],
)
def test_pace_is_kept(entries: int, echo: float, pace: Pace) -> None:
    """The pace is kept for any load: in total, for broadcasts, for one address, and for broadcasts to one address."""
    made = scheduler(pace)
    for number in range(entries):
        made.ask(made.entry(FIRST + number, "process"), 0.0, arp=0.1, echo=echo)
    sent = run(made, 0.0, 12.0)
    assert len(sent) > 10
    check_pace(sent, pace)


def test_pace_is_used() -> None:
    """One address gets four probes a second, one of them by ARP; six hundred get almost five hundred in total."""
    one, many = scheduler(), scheduler()
    one.ask(one.entry(FIRST, "process"), 0.0, arp=1.01, echo=0.25)
    assert len(run(one, 0.0, 20.0)) >= 20 * 4
    for number in range(600):
        many.ask(many.entry(FIRST + number, "process"), 0.0, arp=None, echo=1.01)
        many.entry(FIRST + number, "process").mac = 0x020000000000 + number
    assert len(run(many, 0.0, 5.0)) > 5 * 480


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 4),
            st.sampled_from([None, 0.1, 1.01]),
            st.sampled_from([None, 0.05, 0.25, 1.01]),
            st.booleans(),
            st.floats(0.0, 2.0),
        ),
        min_size=1,
        max_size=12,
    )
)
def test_changing_requests_keep_the_pace(schedule: list[tuple[int, float | None, float | None, bool, float]]) -> None:
    """Requests that change at any moment do not break the pace."""
    made, sent, now = scheduler(), [], 0.0
    for number, arp, echo, urgent, seconds in schedule:
        made.ask(made.entry(FIRST + number, "process"), now, arp=arp, echo=echo, urgent=urgent)
        sent += run(made, now, seconds)
        now += seconds
    check_pace(sent, Pace())


def test_a_reply_for_the_borrowed_address_replaces_a_probe() -> None:
    """A device that asks for the borrowed address gets a reply, and still no more than five frames a second."""
    made = scheduler()
    made.matcher.borrowed.add(OWN)
    entry = made.entry(FIRST, "process")
    made.ask(entry, 0.0, arp=1.01, echo=0.25)
    frames = []
    now = 0.0
    while now < 5.0:
        for send in made.due(now):
            frames.append(now)
            if send.probe is not None:
                made.sent(send, now)
                made.hear(Heard(now + 0.001, 0, arp_reply(0x5E005314, FIRST, STATION, OWN)))
                made.hear(Heard(now + 0.002, 0, arp_request(0x5E005314, FIRST, OWN)))
        made.settle(now)
        now = max(now + 0.001, min(made.wake, now + 0.05))
    assert most_in_a_second(frames) <= 5
    assert len(frames) >= 20


@pytest.mark.parametrize(("urgent", "answered"), [(True, False), (True, True), (False, False), (False, True)])
def test_only_a_miss_of_the_port_under_test_wakes_the_prober(urgent: bool, answered: bool) -> None:
    """Only an unanswered probe of the port under test wakes the prober."""
    made = scheduler()
    made.ask(made.entry(FIRST, "process"), 0.0, arp=60.0, urgent=urgent)
    assert len(run(made, 0.0, 1.0, answer=answered)) == 1
    assert made.settle(10.0) is (urgent and not answered)
    assert not made.settle(20.0)


def test_an_urgent_address_goes_before_the_queue() -> None:
    """The port under test is asked at once, even while hundreds of absent addresses wait for the broadcast pace."""
    made = scheduler()
    for number in range(400):
        made.ask(made.entry(FIRST + number, "process"), 0.0, arp=1.01)
    run(made, 0.0, 2.0, answer=False)
    under_test = made.entry(FIRST + 399, "process")
    made.ask(under_test, 2.0, arp=1.01, urgent=True)
    first_asked = next(at for at, frame in run(made, 2.0, 3.0, answer=False) if target(frame) == under_test.address)
    assert first_asked < 2.1


def test_known_addresses_go_before_unknown_ones() -> None:
    """Addresses that have answered are asked on time, even while hundreds of absent addresses are asked."""
    made = scheduler()
    known = made.entry(FIRST + 1000, "process")
    known.mac = 0x5E005314
    made.ask(known, 0.0, arp=1.01)
    for number in range(400):
        made.ask(made.entry(FIRST + number, "process"), 0.0, arp=1.01)
    asked = [at for at, frame in run(made, 0.0, 10.0, answer=False) if target(frame) == known.address]
    assert len(asked) >= 8


def test_nothing_is_sent_without_a_sender_a_carrier_or_a_request() -> None:
    """Without a sender in the subnet, without carrier, during a pause, or without a request, nothing is sent."""
    made = scheduler()
    unknown = AddressState(FIRST, 0, "elsewhere")
    made.ask(unknown, 0.0, arp=1.01, echo=0.25)
    assert run(made, 0.0, 3.0) == []
    entry = made.entry(FIRST + 1, "process")
    made.ask(entry, 3.0, arp=1.01, echo=0.25)
    made.carrier[0] = False
    assert run(made, 3.0, 3.0) == []
    made.carrier[0], made.paused = True, True
    assert made.due(6.0) == []
    made.paused = False
    made.rest()
    assert run(made, 6.0, 3.0) == []


def test_the_timeout_follows_the_device() -> None:
    """The timeout of a probe is 3 s at first, then four times the longest round trip, limited to 1 s to 3 s."""
    made = scheduler()
    entry = made.entry(FIRST, "process")
    assert entry.wait == 3.0
    for rtt, wait in ((0.001, 1.0), (0.4, 1.6), (0.1, 1.6), (2.0, 3.0)):
        entry.longest_rtt = max(entry.longest_rtt or 0.0, rtt)
        assert entry.wait == wait


def test_every_run_has_its_own_token() -> None:
    """Each run has its own random token of 16 bytes in its echo requests."""
    one, other = (ProbeScheduler((Adapter("x0", STATION),), True, Pace(), Random(seed)) for seed in (1, 2))
    assert len(one.matcher.token) == 16
    assert one.matcher.token != other.matcher.token


@pytest.mark.parametrize("delay", [0.0, 0.0003])
@pytest.mark.parametrize("each", [0.5, 1.0, 2.0, 3.0, 5.0])
def test_arp_and_echo_share_a_slow_pace(each: float, delay: float) -> None:
    """Where the pace is below the requested rates, ARP and echo each get at least 30 % of the frames, also if frames
    leave a little late.
    """
    made = scheduler(Pace(each=each))
    made.ask(made.entry(FIRST, "process"), 0.0, arp=1.01, echo=0.25, urgent=True)
    sent = run(made, 0.0, 60.0, delay=delay)
    requests = sum(arp_from_wire(frame) is not None for _, frame in sent)
    assert requests >= 0.3 * min(60, 60 * each)
    assert len(sent) - requests >= 0.3 * min(60, 60 * each)
