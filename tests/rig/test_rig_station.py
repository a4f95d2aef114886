"""Tests of the simulated station on the bench, and of the frames that the simulated devices build."""

from __future__ import annotations

from functools import partial

from hypothesis import given
from hypothesis import strategies as st

from netcheck.rig.devices import VirtualDevice, echo_answer, lldp_frame
from netcheck.rig.network import Jack, Rig, Segment
from netcheck.wire.frames import (
    ECHO_REPLY,
    ECHO_REQUEST,
    Echo,
    arp_request,
    echo_from_wire,
    echo_to_wire,
    lldp_from_wire,
    padded,
)
from netcheck.wire.link import Adapter, Carrier, Heard, Lost, News, Suspended
from tests.rig.scenes import MACS, OWN, STATION_MAC, ip

ASK = arp_request(STATION_MAC, OWN, ip(20))


def bench(*, direct: bool = False) -> tuple[Rig, Jack]:
    """Return a station and one device, through a switch or on a direct cable."""
    segment = Segment(direct=direct)
    rig = Rig(1, [Adapter("x0", STATION_MAC, ((OWN, 24),))], [segment])
    jack = segment.join(Jack(MACS + 20))
    VirtualDevice(rig, {jack: {ip(20)}})
    return rig, jack


def news(rig: Rig, seconds: float) -> list[News]:
    """Return everything that arrives within *seconds* of the link's clock."""
    until, found = rig.now() + seconds, []
    while rig.now() < until:
        found += rig.receive(until)
    return found


def test_a_suspend_stops_only_the_clock_of_the_link() -> None:
    """CLOCK_MONOTONIC does not count a suspend: the link's clock stands still for 30 s of real time."""
    rig, _ = bench()
    rig.after(1.0, partial(rig.suspend, 30.0))
    found = news(rig, 5.0)
    (slept,) = [one for one in found if isinstance(one, Suspended)]
    assert slept.seconds == 30.0
    assert abs(slept.at - (rig.began + 1.0)) < 0.01
    assert abs(rig.time - rig.now() - 30.0) < 0.01


def test_the_carrier_is_reported_after_a_suspend() -> None:
    """Replies that arrive during a suspend are lost, and a cable that went out meanwhile is reported afterwards."""
    rig, jack = bench(direct=True)
    rig.after(1.0, partial(rig.suspend, 10.0))
    rig.after(0.9999, partial(rig.send, ASK))
    rig.after(5.0, partial(rig.plug, jack, False))
    found = news(rig, 3.0)
    assert not [one for one in found if isinstance(one, Heard)]
    assert [type(one) for one in found] == [Suspended, Carrier]


def test_muted_frames_do_not_leave() -> None:
    """A muted link sends nothing: `send` returns None, and nothing is answered."""
    rig, _ = bench()
    rig.mute(2.0)
    assert rig.send(ASK) is None
    assert rig.sent == []
    assert news(rig, 1.0) == []
    news(rig, 1.5)
    assert rig.send(ASK) is not None
    assert [type(one) for one in news(rig, 1.0)] == [Heard]


def test_an_overrun_and_a_vanished_interface_are_reported() -> None:
    """Dropped frames are reported as `Lost`. An interface that goes down is reported as gone, then as up again."""
    rig, _ = bench()
    rig.lose(3)
    assert news(rig, 1.0) == [Lost(rig.began, 0, 3)]
    rig.vanish(2.0)
    told = [(one.up, one.gone) for one in news(rig, 3.0) if isinstance(one, Carrier)]
    assert told == [(False, True), (True, False)]


def test_a_link_that_renegotiates_leaves_the_cable_in() -> None:
    """A renegotiation drops the carrier and restores it without a movement of the cable."""
    rig, jack = bench(direct=True)
    rig.link(rig.jacks[0], False)
    rig.after(3.3, partial(rig.link, rig.jacks[0], True))
    assert [one.up for one in news(rig, 5.0) if isinstance(one, Carrier)] == [False, True]
    assert jack.moves == rig.jacks[0].moves == []


def test_lldp_of_the_bench_reads_back() -> None:
    """An LLDP frame of the bench holds the values that it was built from (IEEE 802.1AB, read by `wire`)."""
    said = lldp_from_wire(lldp_frame(MACS + 20, MACS + 20, "port 2", "filler"))
    assert said is not None
    assert (said.source, said.port, said.system_name) == (MACS + 20, "port 2", "filler")


@given(st.integers(0, 0xFFFF), st.integers(0, 0xFFFF), st.integers(0, 0xFFFF), st.binary(max_size=40))
def test_the_quick_echo_reply_is_the_one_that_is_built(number: int, sequence: int, packet: int, payload: bytes) -> None:
    """The fast echo reply equals the one built field by field: addresses exchanged, checksums right (RFC 792, RFC
    1624).
    """
    asked = Echo(MACS + 20, STATION_MAC, OWN, ip(20), 64, ECHO_REQUEST, number, sequence, payload)
    reply = echo_from_wire(echo_answer(MACS + 20, padded(echo_to_wire(asked, packet))))
    assert reply == Echo(STATION_MAC, MACS + 20, ip(20), OWN, 64, ECHO_REPLY, number, sequence, payload)
