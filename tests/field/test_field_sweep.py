"""Tests that a sweep asks each address once, keeps the pace, and keeps every answer."""

from __future__ import annotations

import ipaddress
from types import TracebackType
from typing import Self

import pytest
from scapy.layers.l2 import ARP, Ether

from netcheck.field.sweep import SweepEnded, SweepResult, sweep
from netcheck.wire.frames import Arp, arp_from_wire, arp_reply, arp_to_wire
from netcheck.wire.link import Adapter, Carrier, Heard, Lost, News, Suspended
from netcheck.wire.links.raw import open_raw
from tests.lab.netns import Lab, lab  # noqa: F401
from tests.lab.responder import respond

STATION, STATION_IP = 0x00005E005301, 0xC0000201
DEVICE, ROUTER, GROUP = 0x00005E005314, 0x00005E0053FE, 0x01005E901000
NET = 0xC6120000  # 198.18.0.0/15, RFC 2544: large enough


class Wire:
    """A link in virtual time: sending takes 5 microseconds, and replies come from a table of delays and frames."""

    kind = "rig"
    hears_all = True
    overhears = False

    def __init__(self, answers: dict[int, list[tuple[float, bytes]]], noise: list[News] | None = None) -> None:
        self.adapters: tuple[Adapter, ...] = (Adapter("eth0", STATION), Adapter("eth1", STATION + 1))
        self.sent: list[tuple[float, bytes]] = []
        self._time = 100.0
        self._answers = answers
        self._coming: list[News] = list(noise or [])

    def now(self) -> float:
        return self._time

    def send(self, frame: bytes, adapter: int = 0) -> float | None:
        at = self._time
        self._time += 5e-6
        self.sent.append((at, frame))
        arp = arp_from_wire(frame)
        assert arp is not None
        self._coming += [Heard(at + delay, 0, frame) for delay, frame in self._answers.get(arp.target_ip, [])]
        return at

    def receive(self, until: float) -> list[News]:
        self._coming.sort(key=lambda news: news.at)
        if self._coming and self._coming[0].at <= max(until, self._time):
            self._time = max(self._time, self._coming[0].at)
            return [self._coming.pop(0)]
        self._time = max(self._time, until)
        return []

    def carrier(self, adapter: int = 0) -> bool:
        return True

    def close(self) -> None:
        self._coming.clear()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def says(mac: int, address: int) -> bytes:
    """Return a reply of this MAC for this address."""
    return arp_reply(mac, address, STATION, STATION_IP)


def test_each_address_is_asked_once_by_a_frame_that_scapy_reads() -> None:
    """Broadcast requests of 60 bytes in the order given, from the station's MAC and the given address."""
    wire = Wire({})
    assert sweep(wire, range(NET, NET + 300), 0.5, STATION_IP) == {}
    seen = [Ether(frame) for _, frame in wire.sent]
    assert [packet[ARP].pdst for packet in seen] == [str(ipaddress.IPv4Address(NET + n)) for n in range(300)]
    assert {(packet.dst, packet.src, packet[ARP].hwsrc, packet[ARP].psrc, packet[ARP].op) for packet in seen} == {
        ("ff:ff:ff:ff:ff:ff", "00:00:5e:00:53:01", "00:00:5e:00:53:01", "192.0.2.1", 1)
    }
    assert {len(frame) for _, frame in wire.sent} == {60}


def test_only_answers_are_kept_and_all_of_them() -> None:
    """Two owners are returned, each once with its first time.

    Strangers, group MACs, other adapters and noise are not.
    """
    strange = arp_to_wire(Arp(STATION, GROUP, 2, GROUP, NET + 2, STATION, STATION_IP))
    wire = Wire(
        {
            NET: [(0.1, says(DEVICE, NET)), (0.2, says(ROUTER, NET)), (0.3, says(DEVICE, NET))],
            NET + 1: [(0.1, says(DEVICE, NET + 999))],
            NET + 2: [(0.1, strange)],
            NET + 4: [(0.9, says(DEVICE, NET + 4))],
            NET + 5: [(1.1, says(DEVICE, NET + 5))],
        },
        [Heard(100.2, 1, says(DEVICE, NET + 3)), Carrier(100.2, 1, False), Heard(100.2, 0, b"\x08\x06noise")],
    )
    answers = sweep(wire, range(NET, NET + 6), 1.0, STATION_IP)
    assert {address: [mac for mac, _ in found] for address, found in answers.items()} == {
        NET: [DEVICE, ROUTER],
        NET + 4: [DEVICE],
    }
    assert [at for _, at in answers[NET]] == pytest.approx([100.1, 100.2], abs=1e-3)


def test_what_was_heard_before_the_cable_came_out_is_kept() -> None:
    """Without carrier the sweep ends. The exception has the answers so far and the number of addresses asked."""
    wire = Wire({NET: [(0.01, says(DEVICE, NET))]}, [Carrier(102.0, 0, False)])
    with pytest.raises(SweepEnded) as caught:
        sweep(wire, range(NET, NET + 1000), 1.0, STATION_IP, pace=50.0)
    ((mac, at),) = caught.value.answers.pop(NET)
    assert (mac, caught.value.answers) == (DEVICE, {})
    assert at == pytest.approx(100.01, abs=1e-3)
    assert caught.value.asked == pytest.approx(100, abs=2)
    assert len(wire.sent) == pytest.approx(caught.value.asked, abs=1)


def test_a_flood_of_owners_fills_no_memory() -> None:
    """At most sixteen MACs are kept for an address, however many reply for it."""
    wire = Wire({NET: [(0.1 + n / 1000, says(DEVICE + n, NET)) for n in range(200)]})
    assert len(sweep(wire, [NET], 1.0, STATION_IP)[NET]) == 16


@pytest.mark.parametrize("pace", [20.0, 500.0, 5000.0])
def test_the_pace_is_kept(pace: float) -> None:
    """No tenth of a second has more requests than the pace allows, and the whole sweep is not slower."""
    wire = Wire({})
    told: list[int] = []
    sweep(wire, range(NET, NET + 1000), 0.0, STATION_IP, pace=pace, asked=told.append)
    times = [at for at, _ in wire.sent]
    burst = max(1, pace / 50)
    for first, at in enumerate(times):
        soon = sum(1 for other in times[first : first + 600] if other < at + 0.1)
        assert soon <= pace * 0.1 + burst
    assert wire.now() - 100 == pytest.approx(1000 / pace, rel=0.02)
    assert told[-1] == 1000
    assert told == sorted(told)


@pytest.mark.lab
def test_no_host_is_missed_on_a_real_kernel(lab: Lab) -> None:  # noqa: F811
    """In a /24 at full speed all hosts are found, with a duplicate address, and no other."""
    station, far = lab.namespace("station"), lab.namespace("far")
    lab.veth((station, "eth0"), (far, "eth0"), macs=("00-00-5E-00-53-01", "00-00-5E-00-53-FE"))
    many = {"address": "198.18.0.64", "mac": "00-00-5E-00-53-40", "count": 64}
    respond(lab, far, "eth0", many, {"address": "198.18.0.70", "mac": "00-00-5E-00-53-02"})
    with lab.inside(station), open_raw("eth0") as link:
        answers = sweep(link, range(NET + 1, NET + 255), 0.3, NET + 254)
    expected = {NET + number: {0x00005E005300 + number} for number in range(64, 128)}
    expected[NET + 70].add(0x00005E005302)
    assert {address: {mac for mac, _ in found} for address, found in answers.items()} == expected


class Refusing(Wire):
    """A link that does not accept some frames: the calls of `send` with these numbers."""

    def __init__(self, answers: dict[int, list[tuple[float, bytes]]], refused: range) -> None:
        super().__init__(answers)
        self._refused, self._calls = refused, 0

    def send(self, frame: bytes, adapter: int = 0) -> float | None:
        self._calls += 1
        return None if self._calls - 1 in self._refused else super().send(frame, adapter)


def test_a_request_that_did_not_leave_is_sent_again() -> None:
    """The queue is full for a moment, and every address is still asked once."""
    wire = Refusing({NET + 3: [(0.1, says(DEVICE, NET + 3))]}, range(3, 5))
    assert set(sweep(wire, range(NET, NET + 10), 1.0, STATION_IP)) == {NET + 3}
    asked = [arp.target_ip for _, frame in wire.sent if (arp := arp_from_wire(frame))]
    assert asked == list(range(NET, NET + 10))


def test_requests_that_never_leave_end_the_sweep() -> None:
    """The sweep ends, because an address that was not asked must not count as silent."""
    with pytest.raises(SweepEnded, match="did not send") as caught:
        sweep(Refusing({}, range(200, 10_000)), range(NET, NET + 1000), 1.0, STATION_IP)
    assert caught.value.asked <= 200


def test_a_suspend_ends_the_sweep() -> None:
    """The sweep ends, because no reply was heard while the computer was suspended."""
    wire = Wire({}, [Suspended(100.5, 60.0)])
    with pytest.raises(SweepEnded, match="suspended"):
        sweep(wire, range(NET, NET + 100), 1.0, STATION_IP)


def test_dropped_frames_are_counted_on_the_adapter_that_is_swept() -> None:
    """Only frames dropped on the swept adapter count: they may have contained replies."""
    result = SweepResult()
    sweep(Wire({}, [Lost(100.1, 0, 7), Lost(100.2, 1, 9), Lost(100.3, 0, 1)]), [NET], 1.0, STATION_IP, into=result)
    assert result.dropped == 8
