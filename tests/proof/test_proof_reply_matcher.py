"""Tests of the reply matcher: which frames are replies to a probe, and bounded memory under any traffic."""

from __future__ import annotations

import sys
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.proof.events import RunOptions
from netcheck.proof.probing.address_state import FEW, MOST_MACS, SAID_EVERY, ProbeKind, Sighting
from netcheck.proof.probing.reply_matcher import MOST_ASKERS
from netcheck.proof.probing.scheduler import Pace, ProbeScheduler, Send
from netcheck.proof.result import Tally
from netcheck.proof.run_state import ADDRESSES_KEPT, MACS_KEPT, RunState
from netcheck.proof.targets import Scope
from netcheck.wire.frames import (
    BROADCAST,
    ECHO_REPLY,
    REPLY,
    Arp,
    Echo,
    arp_reply,
    arp_request,
    arp_to_wire,
    echo_from_wire,
    echo_to_wire,
)
from netcheck.wire.link import Adapter, Heard

STATION, DEVICE, STRANGER = 0x5E005301, 0x5E005314, 0x5E005399
OWN, OTHER_OWN, ADDRESS, BORROWED = 0xC0000201, 0xC0000202, 0xC0000214, 0xC00002F0


class Desk:
    """A scheduler with one address that has just been asked by ARP and by echo."""

    def __init__(self) -> None:
        adapters = (Adapter("x0", STATION, ((OWN, 24),)), Adapter("x1", STATION + 1, ((OTHER_OWN, 24),)))
        self.scheduler = ProbeScheduler(adapters, True, Pace(), Random(1))
        self.scheduler.senders.update({(0, "process"): OWN, (1, "process"): OTHER_OWN})
        self.entry = self.scheduler.entry(ADDRESS, "process")
        self.scheduler.ask(self.entry, 0.0, arp=1.01, echo=0.25)
        (self.arp,) = self.scheduler.due(0.0)
        self.hear(arp_reply(DEVICE, ADDRESS, STATION, OWN), 0.001)
        (self.echo,) = self.scheduler.due(0.25)
        asked = echo_from_wire(self.echo.frame)
        assert asked is not None
        self.answer = Echo(
            STATION, DEVICE, ADDRESS, OWN, 64, ECHO_REPLY, asked.identifier, asked.sequence, asked.payload
        )  # fmt: skip

    def hear(self, frame: bytes, at: float, adapter: int = 0) -> Sighting | None:
        """Receive a frame."""
        return self.scheduler.hear(Heard(at, adapter, frame))

    def hear_echo(self, at: float = 0.251, adapter: int = 0, **changes: int | bytes) -> Sighting | None:
        """Receive the echo reply, with *changes* to its fields."""
        return self.hear(echo_to_wire(self.answer._replace(**changes)), at, adapter)  # type: ignore[arg-type]


def answers(send: Send) -> dict[int, float]:
    """Return the MACs that answered a probe in time, each with the time of its reply."""
    assert send.probe is not None
    return send.probe.answers


def test_answers_count_for_their_probe() -> None:
    """An ARP reply and an echo reply count for the probes that they answer, with the MAC."""
    desk = Desk()
    heard = desk.hear_echo()
    assert heard == Sighting(0.251, ADDRESS, DEVICE, "echo", 0, asked=0.25)
    assert (answers(desk.arp), answers(desk.echo)) == ({DEVICE: 0.001}, {DEVICE: 0.251})
    assert desk.scheduler.matcher.forged == 0


@pytest.mark.parametrize(
    "changes",
    [
        {"identifier": 1},
        {"sequence": 60000},
        {"payload": b"?" * 16},
        {"payload": b""},
        {"source_ip": ADDRESS + 1},
        {"target_ip": OWN + 7},
        {"destination": STATION + 9},
        {"source": 0},
        {"source": 0x01005E005314},
        {"source": STATION},
        {"adapter": 1},
    ],
    ids=str,
)
def test_forged_echo_answers_are_counted_apart(changes: dict[str, Any]) -> None:
    """An echo reply that differs in one field answers no probe and is counted as forged."""
    desk = Desk()
    adapter = changes.pop("adapter", 0)
    assert desk.hear_echo(adapter=adapter, **changes) is None
    assert answers(desk.echo) == {}
    assert desk.scheduler.matcher.forged == 1


def test_a_repeated_reply_counts_once() -> None:
    """A repeated reply counts once, both for the probe and as a sighting."""
    desk = Desk()
    for at in (0.251, 0.252, 0.3):
        desk.hear_echo(at)
    assert answers(desk.echo) == {DEVICE: 0.251}
    assert sum(sighting.how == "echo" for sighting in desk.entry.sightings) == 1


def test_a_late_reply_is_a_sighting_only() -> None:
    """A reply after the timeout is in no tally, but is a sighting in the phase of its probe."""
    desk = Desk()
    desk.scheduler.settle(5.0)
    heard = desk.hear_echo(5.0)
    assert heard is not None
    assert (heard.late, heard.means) == (True, 0.25)
    assert answers(desk.echo) == {}
    assert desk.entry.tally(ProbeKind.ECHO, 0.0, 9.0, DEVICE) == Tally(1, 0)
    assert heard in desk.entry.sightings


def test_a_reply_after_the_late_window_is_forged() -> None:
    """A reply more than ten seconds after the timeout matches no probe and is forged."""
    desk = Desk()
    desk.scheduler.settle(20.0)
    assert desk.hear_echo(20.0) is None
    assert desk.scheduler.matcher.forged == 1


def test_two_owners_are_both_kept() -> None:
    """Every reply within the timeout is kept, not only the first."""
    desk = Desk()
    desk.hear(arp_reply(STRANGER, ADDRESS, STATION, OWN), 0.3)
    assert set(answers(desk.arp)) == {DEVICE, STRANGER}
    assert list(desk.entry.macs(0.0)) == [DEVICE, STRANGER]


def test_arp_replies_belong_to_the_newest_request() -> None:
    """ARP replies carry no number, so a reply that can answer the newest request counts for that request."""
    desk = Desk()
    second = next(send for at in (0.5, 0.75, 1.02, 1.25) for send in desk.scheduler.due(at) if len(send.frame) == 42)
    heard = desk.hear(arp_reply(STRANGER, ADDRESS, STATION, OWN), 1.3)
    assert heard is not None
    assert second.probe is not None
    assert heard.asked == second.probe.sent
    assert STRANGER not in answers(desk.arp)


@pytest.mark.parametrize(
    ("frame", "how"),
    [
        (arp_reply(STRANGER, ADDRESS, STATION + 9, OWN), "said"),  # to another station
        (arp_request(STRANGER, ADDRESS, ADDRESS), "said"),  # an announcement
        (arp_request(STRANGER, ADDRESS, OWN + 5), "said"),
        (arp_to_wire(Arp(BROADCAST, STRANGER, REPLY, STRANGER, ADDRESS, STATION, OWN)), "arp"),
        (arp_to_wire(Arp(BROADCAST, STRANGER, REPLY, STRANGER, ADDRESS, STATION, OWN + 9)), "said"),
        (arp_reply(STRANGER, ADDRESS, STATION, OWN), "arp"),
    ],
    ids=["to another", "announcement", "request", "broadcast reply", "broadcast reply to another", "reply"],
)
def test_any_arp_of_the_address_is_heard(frame: bytes, how: str) -> None:
    """A MAC that sends ARP for the address is recorded as its owner, but only a reply to this station is an answer.

    A reply may be broadcast: RFC 3927 section 2.5.
    """
    desk = Desk()
    heard = desk.hear(frame, 0.4)
    assert heard is not None
    assert (heard.how, heard.mac, heard.asked is None) == (how, STRANGER, how == "said")


@pytest.mark.parametrize("mac", [0, BROADCAST, 0x01005E901000, 0x333300000001], ids=hex)
def test_group_and_zero_macs_are_ignored(mac: int) -> None:
    """A group address (RFC 1812 section 3.3.2) or zero is no station's MAC and is ignored."""
    desk = Desk()
    assert desk.hear(arp_reply(mac, ADDRESS, STATION, OWN), 0.4) is None
    assert answers(desk.arp) == {DEVICE: 0.001}


def test_own_frames_are_ignored() -> None:
    """A frame of the station itself, on any interface, is ignored."""
    desk = Desk()
    assert desk.hear(arp_reply(STATION + 1, ADDRESS, STATION, OWN), 0.4) is None


def test_an_arp_probe_is_heard_without_an_address() -> None:
    """An ARP probe of RFC 5227 is recorded for its sender without an address, and marks its target as claimed."""
    desk = Desk()
    heard = desk.hear(arp_request(STRANGER, 0, ADDRESS), 0.4)
    assert heard is not None
    assert (heard.address, heard.mac) == (0, STRANGER)
    assert desk.entry.claimed == 0.4
    assert STRANGER not in desk.entry.macs(0.0)


@pytest.mark.parametrize(
    ("frame", "conflict"),
    [
        (arp_request(STRANGER, BORROWED, BORROWED), True),
        (arp_reply(STRANGER, BORROWED, STATION, 0), True),
        (arp_request(STRANGER, ADDRESS, BORROWED), False),
        (arp_request(STRANGER, 0, BORROWED), False),  # a probe for an address in use gets a reply
    ],
    ids=["announced", "answered", "asked for", "probed"],
)
def test_a_borrowed_address_is_defended(frame: bytes, conflict: bool) -> None:
    """Another owner of a borrowed address is a conflict (RFC 5227 section 2.4); requests for it are answered (section
    2.5).
    """
    desk = Desk()
    desk.scheduler.matcher.borrowed.add(BORROWED)
    desk.hear(frame, 0.4)
    assert desk.scheduler.matcher.conflict == (STRANGER if conflict else None)
    sender = int.from_bytes(frame[28:32], "big")
    replies = [send.frame for send in desk.scheduler.due(0.41) if send.probe is None]
    assert replies == ([] if conflict else [arp_reply(STATION, BORROWED, STRANGER, sender)])


def test_a_probe_for_a_claimed_address_is_a_conflict() -> None:
    """While an address is being claimed, another station's probe for it is a conflict (RFC 5227 section 2.1.1)."""
    desk = Desk()
    desk.scheduler.matcher.claiming.add(BORROWED)
    desk.hear(arp_request(STRANGER, 0, BORROWED), 0.4)
    assert desk.scheduler.matcher.conflict == STRANGER


seeds = st.sampled_from(["arp", "echo", "request", "probe"])


@given(seeds, st.binary(max_size=80), st.integers(0, 120), st.integers(0, 80), st.integers(0, 255))
def test_cut_padded_and_mutated_frames_never_raise(kind: str, junk: bytes, cut: int, at: int, value: int) -> None:
    """No sequence of bytes raises an error, and only the matching reply counts as an answer."""
    desk = Desk()
    frames = {
        "arp": arp_reply(DEVICE, ADDRESS, STATION, OWN),
        "echo": echo_to_wire(desk.answer),
        "request": arp_request(STRANGER, ADDRESS, BORROWED),
        "probe": arp_request(STRANGER, 0, ADDRESS),
    }
    whole = frames[kind]
    mutated = whole[:at] + bytes([value]) + whole[at + 1 :]
    for frame in (junk, whole[:cut], whole + junk, mutated[:cut] + junk, mutated):
        for adapter in (0, 1):
            desk.hear(frame, 0.4, adapter)
    assert kind == "echo" or not answers(desk.echo)


@settings(max_examples=30)
@given(st.lists(st.binary(min_size=0, max_size=100), max_size=50))
def test_random_frames_never_raise(frames: list[bytes]) -> None:
    """Random bytes after a plausible header raise no error."""
    desk = Desk()
    for frame in frames:
        desk.hear(STATION.to_bytes(6, "big") + DEVICE.to_bytes(6, "big") + b"\x08\x06" + frame, 0.4)
        desk.hear(STATION.to_bytes(6, "big") + DEVICE.to_bytes(6, "big") + b"\x08\x00\x45" + frame, 0.4)


def test_memory_is_bounded_under_a_flood() -> None:
    """Sixty thousand frames from different MACs leave every store within its limit, and the device is still heard."""
    desk = Desk()
    run = RunState(Scope(targets=(), asked=(), nets=()), RunOptions(), desk.scheduler, Random(1))
    desk.scheduler.matcher.borrowed.add(BORROWED)
    rng, replies = Random(2), 0
    for number in range(60_000):
        mac, at = 0x020000000000 + number, 0.3 + number / 60_000
        frames = (
            arp_request(mac, ADDRESS, BORROWED),
            arp_reply(mac, ADDRESS, STATION, OWN),
            arp_request(mac, rng.randrange(1 << 32), BORROWED),
        )
        heard = desk.hear(frames[number % 3], at)
        if heard is not None:
            run.remember(heard)
        replies += len(desk.scheduler.matcher.replies)
        desk.scheduler.matcher.replies.clear()
    desk.hear(arp_reply(DEVICE, ADDRESS, STATION, OWN), 1.31)
    assert len(desk.entry.sightings) <= 4 * FEW
    assert max(map(len, (desk.entry.last_heard, answers(desk.arp), desk.entry._said))) <= MOST_MACS
    assert len(run.heard_for) <= MACS_KEPT
    assert len(desk.scheduler.matcher._asked_us) <= MOST_ASKERS
    assert 0 < replies <= 21
    assert DEVICE in desk.entry.last_heard


def test_memory_is_bounded_for_one_mac_with_many_addresses() -> None:
    """Of the addresses that one MAC claims, the newest are kept."""
    run = RunState(Scope(targets=(), asked=(), nets=()), RunOptions(), Desk().scheduler, Random(1))
    for number in range(10_000):
        run.remember(Sighting(number / 1000, number, STRANGER, "said", 0))
    assert len(run.heard_for[STRANGER]) == ADDRESSES_KEPT
    assert 9_999 in run.heard_for[STRANGER]


def test_a_frequent_sender_does_not_displace_a_second_owner() -> None:
    """A device that announces itself a thousand times a second does not displace a second owner's single frame."""
    desk = Desk()
    desk.hear(arp_request(STRANGER, ADDRESS, ADDRESS), 0.3)
    for number in range(60_000):
        desk.hear(arp_request(DEVICE, ADDRESS, ADDRESS), 0.3 + number / 1000)
    assert STRANGER in desk.entry.macs(0.0)
    assert len(desk.entry.sightings) <= 60 / SAID_EVERY + 3


def test_an_address_takes_little_memory() -> None:
    """An address that was asked for an hour takes less than 150 KB, so that 500 addresses fit in memory."""
    desk = Desk()
    entry = desk.entry
    desk.scheduler.ask(entry, 10.0, arp=1.01)
    for second in range(10, 3610):
        desk.scheduler.due(second + 0.01)
        desk.hear(arp_reply(DEVICE, ADDRESS, STATION, OWN), second + 0.02)
        desk.scheduler.settle(second + 0.5)
    size = sum(sys.getsizeof(probe) + sys.getsizeof(probe.answers) for probe in entry.probes)
    size += sum(map(sys.getsizeof, entry.sightings))
    assert len(entry.probes) == FEW
    assert size < 150_000
