"""The raw link on a real kernel: which frames it receives, at what time, and how it reports the carrier."""

from __future__ import annotations

import socket
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from netcheck.wire.frames import (
    ECHO_REPLY,
    ECHO_REQUEST,
    Echo,
    arp_from_wire,
    arp_request,
    echo_from_wire,
    echo_to_wire,
    padded,
)
from netcheck.wire.link import Carrier, Heard, Lost, News
from netcheck.wire.links.base import BATCH
from netcheck.wire.links.raw import RawLink, open_raw
from tests.lab.netns import Lab

pytestmark = pytest.mark.lab

STATION, STATION_IP = 0x00005E005301, 0xC0000201
DEVICE, DEVICE_IP = 0x00005E005314, 0xC0000214
ASK = arp_request(STATION, STATION_IP, DEVICE_IP)
SAID = arp_request(DEVICE, DEVICE_IP, DEVICE_IP)  # an announcement


@dataclass
class Bench:
    """A station with an open link, a device at the other end of its cable, and a packet socket of the device."""

    lab: Lab
    station: str
    device: str
    link: RawLink
    far: socket.socket

    def heard(self, seconds: float = 0.15) -> list[bytes]:
        """Return the frames that arrive in this time."""
        return [news.frame for news in self.news(seconds) if isinstance(news, Heard)]

    def news(self, seconds: float = 0.15) -> list[News]:
        """Return everything that arrives in this time."""
        found: list[News] = []
        until = self.link.now() + seconds
        while self.link.now() < until:
            found.extend(self.link.receive(until))
        return found

    def change(self, wanted: Callable[[Carrier], bool], seconds: float = 1.0) -> Carrier:
        """Return the first carrier change of this kind."""
        until = self.link.now() + seconds
        while self.link.now() < until:
            for news in self.link.receive(until):
                if isinstance(news, Carrier) and wanted(news):
                    return news
        raise AssertionError("the carrier did not change")


@pytest.fixture
def bench(lab: Lab) -> Iterator[Bench]:
    """A station and a device on one cable."""
    station, device = lab.namespace("station"), lab.namespace("device")
    lab.veth((station, "eth0"), (device, "eth0"), macs=("00-00-5E-00-53-01", "00-00-5E-00-53-14"))
    lab.address(station, "eth0", "192.0.2.1/24")
    lab.address(device, "eth0", "192.0.2.20/24")
    with lab.inside(device):
        far = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
        far.bind(("eth0", 0))
    with lab.inside(station):
        link = open_raw("eth0")
    with far, link:
        yield Bench(lab, station, device, link, far)


def test_the_adapter_is_the_interface(bench: Bench) -> None:
    """The adapter has the interface's name, its MAC and the system's address."""
    adapter = bench.link.adapters[0]
    assert (adapter.name, adapter.mac, adapter.addresses) == ("eth0", STATION, ((STATION_IP, 24),))
    assert (bench.link.kind, bench.link.hears_all, bench.link.carrier()) == ("raw", True, True)


def test_a_device_answers_arp_and_echo(bench: Bench) -> None:
    """The device's kernel answers both; each reply has a later time than its request."""
    sent = bench.link.send(ASK)
    assert sent is not None
    news = bench.link.receive(sent + 1)
    assert isinstance(news[0], Heard)
    arp = arp_from_wire(news[0].frame)
    assert arp is not None
    assert (arp.sender_mac, arp.sender_ip) == (DEVICE, DEVICE_IP)
    assert sent < news[0].at < bench.link.now()
    bench.link.send(echo_to_wire(Echo(DEVICE, STATION, STATION_IP, DEVICE_IP, 64, ECHO_REQUEST, 7, 8, b"x" * 16)))
    echoes = [echo_from_wire(frame) for frame in bench.heard()]
    assert [(echo.source, echo.source_ip, echo.identifier, echo.sequence) for echo in echoes if echo] == [
        (DEVICE, DEVICE_IP, 7, 8)
    ]


def test_short_frames_leave_with_sixty_bytes(bench: Bench) -> None:
    """The link pads frames (RFC 894), because some drivers do not."""
    with bench.lab.inside(bench.device):
        tap = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(0x0806))
    with tap:
        tap.settimeout(1)
        bench.link.send(ASK)
        assert tap.recv(100) == padded(ASK)


def test_frames_of_the_station_are_not_heard(bench: Bench) -> None:
    """The link receives neither its own frames nor those of the operating system."""
    bench.lab.echo_blocked(bench.device)
    assert bench.lab.echo(bench.station, "192.0.2.20", count=2, wait=0.1, every=0.05) == 0
    bench.link.send(arp_request(STATION, STATION_IP, 0xC0000299))
    read = [arp_from_wire(frame) for frame in bench.heard()]
    assert {(arp.op, arp.sender_mac) for arp in read if arp} == {(2, DEVICE)}
    assert None not in read


@pytest.mark.parametrize(
    ("frame", "heard"),
    [
        pytest.param(SAID, SAID, id="announcement"),
        pytest.param(SAID[:12] + b"\x81\x00\x00\x64" + SAID[12:], None, id="tagged for VLAN 100"),
        pytest.param(SAID[:12] + b"\x81\x00\xc0\x00" + SAID[12:], SAID, id="priority tag only"),
        pytest.param(SAID[:12] + b"\x08\x00" + b"\xff" * 40, None, id="broadcast that is no ARP"),
        pytest.param(bytes.fromhex("0180c200000e00005e00531488cc") + b"\x02" * 46, None, id="lldp"),
        pytest.param(SAID + b"\0" * 1472, SAID, id="as long as Ethernet allows"),
    ],
)
def test_which_frames_pass_the_filter(bench: Bench, frame: bytes, heard: bytes | None) -> None:
    """ARP and LLDP of this segment pass unchanged; frames of another VLAN and other broadcasts do not."""
    bench.far.send(frame)
    bench.far.send(arp_request(DEVICE, 0, 1))  # arrives after the frame under test
    frames = bench.heard()
    assert frames[-1][:42] == arp_request(DEVICE, 0, 1)
    lldp = frame[12:14] == b"\x88\xcc"
    assert [one if lldp else one[:42] for one in frames[:-1]] == ([frame] if lldp else [heard] if heard else [])


def test_a_cut_jumbo_frame_does_no_harm(bench: Bench) -> None:
    """The link receives the first part of a frame that is longer than the limit."""
    for namespace in (bench.station, bench.device):
        bench.lab.run(namespace, ["ip", "link", "set", "eth0", "mtu", "9000"])
    bench.far.send(SAID.ljust(8000, b"\0"))
    frames = bench.heard()
    assert [len(frame) for frame in frames] == [2048]
    assert arp_from_wire(frames[0]) == arp_from_wire(SAID)


def test_times_are_those_of_arrival_not_of_reading(bench: Bench) -> None:
    """Frames that are read 100 ms later have their time of arrival, also on a new socket."""
    sent = []
    for _ in range(5):
        sent.append(bench.link.now())
        bench.far.send(SAID)
        time.sleep(0.02)
    news = bench.link.receive(0)
    assert [one.at for one in news] == pytest.approx(sent, abs=0.005)
    assert all(one.at >= at for one, at in zip(news, sent, strict=True))


def test_no_frame_of_an_unread_burst_is_lost(bench: Bench) -> None:
    """The replies of a /22 wait in the kernel; the default buffer would keep 256."""
    for number in range(1022):
        bench.far.send(arp_request(DEVICE, number, 1))
    heard = [arp_from_wire(frame) for frame in bench.heard()]
    assert [arp.sender_ip for arp in heard if arp] == list(range(1022))


def test_no_reply_is_lost_at_the_full_rate(bench: Bench) -> None:
    """500 requests in one second get 500 replies."""
    answers = 0
    begin = bench.link.now()
    for number in range(500):
        bench.link.send(ASK)
        due = begin + (number + 1) / 500
        while bench.link.now() < due:
            answers += len(bench.link.receive(due))
    answers += len(bench.heard())
    assert answers == 500
    assert bench.link.now() - begin < 2


def test_a_flood_does_not_keep_the_caller_waiting(bench: Bench) -> None:
    """One call returns a batch and the next the rest; no frame is lost between them."""
    for number in range(BATCH + 500):
        bench.far.send(arp_request(DEVICE, number, 1))
    first, second = bench.link.receive(0), bench.link.receive(0)
    assert (len(first), len(second)) == (BATCH, 500)


def test_receiving_ends_at_the_given_time(bench: Bench) -> None:
    """Without frames `receive` returns an empty list at that time, or at once if the time has passed."""
    begin = bench.link.now()
    assert bench.link.receive(begin + 0.25) == []
    waited = bench.link.now() - begin
    assert 0.25 <= waited < 0.5
    begin = bench.link.now()
    assert bench.link.receive(begin - 1) == []
    assert bench.link.now() - begin < 0.1


def test_the_cable_out_and_in_and_out_is_seen_at_once(bench: Bench) -> None:
    """This includes a second change within the second in which the kernel delays its events."""
    for up in (False, True, False, True):
        before = bench.link.now()
        (bench.lab.up if up else bench.lab.down)(bench.device, "eth0")
        after = bench.link.now()
        seen = bench.change(lambda carrier, up=up: carrier.up is up)  # type: ignore[misc]
        assert before < seen.at < after + 0.2
        assert (seen.adapter, seen.gone, seen.off, bench.link.carrier()) == (0, False, False, up)
        time.sleep(0.1)


def test_frames_sent_without_carrier_vanish(bench: Bench) -> None:
    """Sending without carrier raises no error and no frame arrives later."""
    bench.lab.down(bench.device, "eth0")
    bench.change(lambda carrier: not carrier.up)
    for _ in range(300):
        bench.link.send(ASK)
    assert bench.heard() == []
    bench.lab.up(bench.device, "eth0")
    bench.change(lambda carrier: carrier.up)
    bench.link.send(ASK)
    assert len(bench.heard()) == 1


def test_an_interface_that_is_switched_off_has_no_carrier_and_recovers(bench: Bench) -> None:
    """The interface is `off`, not `gone`. While it is off, frames do not leave; when it is on, the link works again."""
    bench.lab.down(bench.station, "eth0")
    off = bench.change(lambda carrier: not carrier.up)
    assert (off.gone, off.off) == (False, True)
    assert [bench.link.send(ASK) for _ in range(3)] == [None, None, None]
    assert bench.news() == []
    bench.lab.up(bench.station, "eth0")
    back = bench.change(lambda carrier: carrier.up)
    assert (back.gone, back.off) == (False, False)
    assert bench.link.send(ASK) is not None
    assert len(bench.heard()) == 1


def test_a_frame_that_the_queue_refuses_did_not_leave(bench: Bench) -> None:
    """A queue without room gives ENOBUFS; after the queue is removed the same frame leaves."""
    queue = ["tc", "qdisc", "replace", "dev", "eth0", "root", "bfifo", "limit", "1"]
    if bench.lab.run(bench.station, queue).returncode:
        pytest.skip("this kernel has no `bfifo` queue")
    assert bench.link.send(ASK) is None
    assert bench.lab.run(bench.station, ["tc", "qdisc", "del", "dev", "eth0", "root"]).returncode == 0
    assert bench.link.send(ASK) is not None
    assert len(bench.heard()) == 1


def test_every_frame_is_heard_or_counted_as_lost(bench: Bench) -> None:
    """More frames arrive than the buffer holds: the kernel drops the rest, and the link reports their number once."""
    sent = 12_000
    for number in range(sent):
        bench.far.send(arp_request(DEVICE, number, 1).ljust(1500, b"\0"))
    news = bench.news()
    lost = [one.frames for one in news if isinstance(one, Lost)]
    assert lost
    assert sum(lost) + len([one for one in news if isinstance(one, Heard)]) == sent
    assert bench.news() == []


def test_an_interface_that_leaves_a_bridge_is_not_gone(bench: Bench) -> None:
    """The kernel reports a deleted bridge port, which is not a deleted interface."""
    for command in (["add", "br0", "type", "bridge"], ["set", "eth0", "master", "br0"], ["set", "eth0", "nomaster"]):
        assert bench.lab.run(bench.station, ["ip", "link", *command]).returncode == 0
    assert [one for one in bench.news() if isinstance(one, Carrier) and one.gone] == []
    assert bench.link.send(ASK) is not None
    assert len(bench.heard()) == 1


def test_no_frame_is_lost_after_an_interface_was_off_for_a_moment(bench: Bench) -> None:
    """The kernel keeps an error for the socket of an interface that was off, but the next request leaves."""
    bench.lab.down(bench.station, "eth0")
    bench.lab.up(bench.station, "eth0")
    time.sleep(0.05)
    bench.link.send(ASK)
    assert len(bench.heard()) == 1


def test_an_adapter_that_is_plugged_in_again_is_used_again(bench: Bench) -> None:
    """An interface with the same name and MAC replaces the one that was removed; its carrier is reported after that."""
    bench.lab.remove(bench.station, "eth0")
    assert bench.change(lambda carrier: carrier.gone).up is False
    assert bench.link.send(ASK) is None
    macs = ("00-00-5E-00-53-01", "00-00-5E-00-53-14")
    bench.lab.veth((bench.station, "eth0"), (bench.device, "eth0"), macs=macs)
    bench.lab.address(bench.device, "eth0", "192.0.2.20/24")
    with bench.lab.inside(bench.station):  # the new socket must be opened there
        assert not bench.change(lambda carrier: carrier.up).gone
    assert bench.link.send(ASK) is not None
    assert len(bench.heard()) == 1
    bench.lab.down(bench.device, "eth0")
    assert bench.change(lambda carrier: not carrier.up).gone is False


def test_another_interface_does_not_replace_a_removed_one(bench: Bench) -> None:
    """If the same name and index have another MAC, the removed interface stays gone."""
    index = bench.lab.run(bench.station, ["cat", "/sys/class/net/eth0/ifindex"]).stdout.strip()
    bench.lab.remove(bench.station, "eth0")
    gone = bench.change(lambda carrier: carrier.gone)
    assert not gone.up
    add = ["ip", "link", "add", "eth0", "index", index, "type", "bridge"]
    assert bench.lab.run(bench.station, add).returncode == 0
    bench.lab.up(bench.station, "eth0")
    assert bench.link.send(ASK) is None
    assert bench.news() == []
    assert not bench.link.carrier()


def test_two_adapters_are_separate(lab: Lab) -> None:
    """Each adapter has its own cable and carrier; frames arrive in order of time."""
    station, device = lab.namespace("station"), lab.namespace("device")
    ends = {}
    for name in ("eth0", "eth1"):
        lab.veth((station, name), (device, name))
        with lab.inside(device):
            ends[name] = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(0x0806))
            ends[name].bind((name, 0x0806))
    with lab.inside(station):
        link = open_raw("eth0", ["eth1"])
    with link, ends["eth0"], ends["eth1"]:
        for name in ("eth1", "eth0", "eth1"):
            ends[name].send(SAID)
            time.sleep(0.002)
        heard = [news for news in link.receive(0) if isinstance(news, Heard)]
        assert [news.adapter for news in heard] == [1, 0, 1]
        link.send(ASK, adapter=1)
        ends["eth1"].settimeout(1)
        assert ends["eth1"].recv(100) == padded(ASK)
        lab.down(device, "eth1")
        changes = link.receive(link.now() + 1)
        assert [(news.adapter, news.up) for news in changes if isinstance(news, Carrier)] == [(1, False)]
        assert (link.carrier(0), link.carrier(1)) == (True, False)


def test_closing_leaves_nothing_configured(bench: Bench) -> None:
    """The interface is not promiscuous, closing leaves the multicast groups, and the link can be closed twice."""
    assert '"promiscuity":0' in bench.lab.run(bench.station, ["ip", "-j", "-d", "link", "show", "eth0"]).stdout
    groups = ["ip", "maddr", "show", "dev", "eth0"]
    assert "01:80:c2:00:00:0e" in bench.lab.run(bench.station, groups).stdout
    bench.link.close()
    bench.link.close()
    assert "01:80:c2:00:00:0e" not in bench.lab.run(bench.station, groups).stdout


def answered_with(name: str) -> tuple[str, bool]:
    """Run inside the station: return the rights of this process, and whether a request is answered."""
    rights = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("CapEff"))
    with open_raw(name) as link:
        link.send(ASK)
        return rights.split()[1], bool(link.receive(link.now() + 1))


def test_one_capability_is_enough(bench: Bench) -> None:
    """CAP_NET_RAW alone (bit 13, linux/capability.h), as granted by `setcap`, is enough for a normal user."""
    only = [f"--{kind}=-all,+net_raw" for kind in ("inh-caps", "ambient-caps", "bounding-set")]
    wrapper = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups", *only]
    rights, answered = bench.lab.call(bench.station, answered_with, "eth0", wrapper=wrapper)
    assert int(rights, 16) == 1 << 13
    assert answered


def test_no_frame_from_before_the_filter_is_heard(lab: Lab) -> None:
    """A link that is opened during a flood receives no frame that its filter drops."""
    station, device = lab.namespace("station"), lab.namespace("device")
    lab.veth((station, "eth0"), (device, "eth0"))
    chatter = (
        "import socket, time\n"
        "s = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0); s.bind(('eth0', 0)); end = time.time() + 5\n"
        "while time.time() < end: s.send(b'\\xff' * 6 + bytes(6) + b'\\x08\\x00' + bytes(46))\n"
    )
    process = lab.start(device, [sys.executable, "-c", chatter])
    time.sleep(0.2)
    with lab.inside(station):
        for _ in range(5):
            with open_raw("eth0") as link:
                assert [news for news in link.receive(link.now() + 0.05) if isinstance(news, Heard)] == []
    assert process.poll() is None


def test_echo_replies_to_others_are_overheard(bench: Bench) -> None:
    """With `overhears` the link receives echo replies to other MACs while it is open; otherwise it does not."""
    answer = padded(echo_to_wire(Echo(0x00005E0053FE, DEVICE, DEVICE_IP, STATION_IP, 64, ECHO_REPLY, 1, 1, b"")))
    state = ["ip", "-d", "link", "show", "eth0"]
    with bench.lab.inside(bench.station):
        curious = open_raw("eth0", overhears=True)
    with curious:
        assert (bench.link.overhears, curious.overhears) == (False, True)
        assert "promiscuity 1" in bench.lab.run(bench.station, state).stdout
        bench.far.send(answer)
        assert bench.heard() == []
        bench.link, plain = curious, bench.link
        assert bench.heard() == [answer]
        bench.link = plain
    assert "promiscuity 0" in bench.lab.run(bench.station, state).stdout
