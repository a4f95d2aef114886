"""Virtual devices: they answer ARP and echo requests as network stacks do, with faults that mislead a test by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial

from netcheck.rig.network import Jack, Rig
from netcheck.wire.frames import (
    BROADCAST,
    ECHO_REPLY,
    ECHO_REQUEST,
    ETHERTYPE_ARP,
    ETHERTYPE_LLDP,
    REPLY,
    REQUEST,
    Arp,
    Echo,
    arp_from_wire,
    arp_reply,
    arp_request,
    arp_to_wire,
    echo_from_wire,
    echo_to_wire,
)

ARP_TYPE = ETHERTYPE_ARP.to_bytes(2, "big")
read_arp = lru_cache(maxsize=8)(arp_from_wire)  # every device on the segment reads the same broadcast
SELF_CHECK = 6.0  # seconds from link up to the first use of an address: RFC 5227 section 2.1.1 gives 4 to 7
LLDP_EVERY = 10.0  # seconds between LLDP frames; IEEE 802.1AB recommends 30, and four at once for a new neighbour
LLDP_GROUP = 0x0180C200000E  # nearest bridge: IEEE 802.1AB
FORGES_EVERY = 0.25  # seconds between forged frames
ANSWERS_KEPT = 16  # true replies that a forger keeps to send again


@dataclass(slots=True)
class Faults:
    """The unusual properties of a device. Times are in seconds. With all defaults the device is healthy."""

    echo: bool = True  # answers echo
    arp: bool = True  # answers ARP
    slow: float = 0.0  # delay before every answer
    boots_in: float = 0.0  # seconds of silence after its cable comes in
    checks_itself: bool = False  # RFC 5227 at link up; gives the address up for good if another host probes it
    dies_when_pulled: bool = False  # does not return after its cable was out
    wrong_identifier: bool = False
    wrong_payload: bool = False
    wrong_source: int = 0  # sends echo replies from this address instead of its own
    echo_from: int = 0  # sends echo replies from this MAC
    answers_all: bool = False  # proxy ARP: answers requests for every address, except those with sender 0
    only_while_out: Jack | None = None  # answers only while this other cable is out
    weak: bool = False  # answers at each jack for the addresses of all its jacks
    deaf_to: Callable[[int], bool] | None = None  # ignores requests from these senders (wrong mask, reverse path)
    rate: float = 0.0  # most echo replies a second; 0 for no limit
    there: tuple[float, float, float] = (0.0, 0.0, 0.0)  # seconds present, seconds absent, start of the first cycle
    every_second: bool = False  # answers only every second ARP request
    to_all: bool = False  # sends its ARP replies to the broadcast address (RFC 3927 section 2.5)


class VirtualDevice:
    """A device with one or more jacks and the addresses that it owns at each."""

    def __init__(self, rig: Rig, addresses: dict[Jack, set[int]], faults: Faults | None = None) -> None:
        """Create the device and connect it to these jacks."""
        self.rig, self.addresses, self.faults = rig, addresses, faults or Faults()
        self.up_from = 0.0
        self.gave_up_at = float("inf")
        self.absences: list[tuple[float, float]] = []  # times in which it was starting or restarting
        self.lives: list[tuple[float, bool]] = []  # times of going off (False) and on (True), in order
        self._dead = False
        self._checking = False
        self._free_at = 0.0
        self._turn = False
        for jack in addresses:
            jack.host = self

    @property
    def dead(self) -> bool:
        """Whether it is off: then it answers no request."""
        return self._dead

    @dead.setter
    def dead(self, dead: bool) -> None:
        if dead != self._dead:
            self._dead = dead
            self.lives.append((self.rig.time, not dead))

    @property
    def gave_up(self) -> bool:
        """Whether it gave its address up after a conflict."""
        return self.gave_up_at < float("inf")

    def cable(self, jack: Jack, up: bool) -> None:
        """Start again when a cable comes in. When a cable goes out, go off if `dies_when_pulled` is set."""
        if not up:
            self.dead = self.dead or self.faults.dies_when_pulled
            return
        self._be_away(self.faults.boots_in)
        if self.faults.checks_itself:
            self._be_away(SELF_CHECK)
            self._checking = True
            for turn in range(3):
                self.rig.after(0.5 + 1.5 * turn, partial(self._probe, jack))
            self.rig.after(SELF_CHECK, self._checked)

    def _probe(self, jack: Jack) -> None:
        for address in self.addresses[jack]:
            self.rig.transmit(jack, arp_request(jack.mac, 0, address))

    def _checked(self) -> None:
        """Begin to use the addresses, and announce them (RFC 5227 section 2.3)."""
        self._checking = False
        for jack in () if self.dead or self.gave_up else self.addresses:
            self.announce(jack)

    def announce(self, jack: Jack) -> None:
        """Announce the addresses of this jack by broadcast."""
        for address in self.addresses[jack]:
            self.rig.transmit(jack, arp_request(jack.mac, address, address))

    def restart(self, seconds: float) -> None:
        """Restart and be silent for this time; the link stays up."""
        self._be_away(seconds)

    def _be_away(self, seconds: float) -> None:
        if seconds > 0:
            self.up_from = max(self.up_from, self.rig.time + seconds)
            self.absences.append((self.rig.time, self.up_from))

    def hear(self, jack: Jack, frame: bytes) -> None:
        """Answer a request as far as the faults allow."""
        arp = read_arp(frame) if frame[12:14] == ARP_TYPE else None
        faults = self.faults
        if arp is not None and not (arp.target_ip in self.addresses[jack] or faults.weak or faults.answers_all):
            return
        if self._checking and arp is not None and self._is_probe(jack, arp):
            self.gave_up_at = min(self.gave_up_at, self.rig.time)
        now = self.rig.time
        if self._dead or now < self.up_from or self.gave_up_at < float("inf") or self._away(now):
            return
        if arp is not None:
            if arp.op == REQUEST and faults.arp:
                self._answer_arp(jack, arp)
        elif faults.echo and frame[23] == 1 and frame[34] == ECHO_REQUEST:
            self._answer_echo(jack, frame)

    def _is_probe(self, jack: Jack, arp: Arp) -> bool:
        return arp.op == REQUEST and arp.sender_ip == 0 and arp.target_ip in self._owned(jack)

    def _away(self, now: float) -> bool:
        other = self.faults.only_while_out
        if other is not None and other.plugged:
            return True
        stays, leaves, since = self.faults.there
        return leaves > 0 and (now - since) % (stays + leaves) >= stays

    def _owned(self, jack: Jack) -> set[int]:
        return set().union(*self.addresses.values()) if self.faults.weak else self.addresses[jack]

    def _deaf(self, sender: int) -> bool:
        return bool(sender) and self.faults.deaf_to is not None and self.faults.deaf_to(sender)

    def _answer_arp(self, jack: Jack, arp: Arp) -> None:
        faults = self.faults
        proxied = faults.answers_all and arp.sender_ip != 0
        if not (proxied or arp.target_ip in self._owned(jack)) or self._deaf(arp.sender_ip):
            return
        self._turn = not self._turn
        if faults.every_second and not self._turn:
            return
        if faults.to_all:
            self._reply(jack, arp_to_wire(Arp(BROADCAST, jack.mac, REPLY, jack.mac, arp.target_ip, arp.sender_mac,
                                              arp.sender_ip)))  # fmt: skip
        else:
            self._reply(jack, arp_reply(jack.mac, arp.target_ip, arp.sender_mac, arp.sender_ip))

    def _answer_echo(self, jack: Jack, frame: bytes) -> None:
        faults = self.faults
        if not (faults.answers_all or int.from_bytes(frame[30:34]) in self._owned(jack)):
            return
        if faults.deaf_to is not None and self._deaf(int.from_bytes(frame[26:30])):
            return
        if faults.rate:
            if self.rig.time < self._free_at:
                return
            self._free_at = self.rig.time + 1 / faults.rate
        odd = faults.echo_from or faults.wrong_source or faults.wrong_identifier or faults.wrong_payload
        answer = _odd_echo(jack, frame, faults) if odd else echo_answer(jack.mac, frame)
        if answer:
            self._reply(jack, answer)

    def _reply(self, jack: Jack, frame: bytes) -> None:
        if self.faults.slow:
            self.rig.after(self.faults.slow, partial(self.rig.transmit, jack, frame))
        else:
            self.rig.transmit(jack, frame)


def echo_answer(mac: int, frame: bytes) -> bytes:
    """Return the echo reply to a request whose IPv4 header has no options: both address pairs exchanged, type 0.

    The IPv4 checksum does not change, and the ICMP checksum changes as RFC 1624 says. No field is decoded, for speed:
    no function of the bench is called more often.
    """
    total = int.from_bytes(frame[36:38]) + (ECHO_REQUEST << 8)
    check = (total & 0xFFFF) + (total >> 16)
    head, tail = frame[6:12] + mac.to_bytes(6), frame[38:]
    return head + frame[12:26] + frame[30:34] + frame[26:30] + b"\0\0" + check.to_bytes(2) + tail


def _odd_echo(jack: Jack, frame: bytes, faults: Faults) -> bytes:
    """Return an echo reply with the fields that the faults change; empty if the request is malformed."""
    echo = echo_from_wire(frame)
    if echo is None:
        return b""
    answer = Echo(
        echo.source,
        faults.echo_from or jack.mac,
        faults.wrong_source or echo.target_ip,
        echo.source_ip,
        64,
        ECHO_REPLY,
        echo.identifier ^ faults.wrong_identifier,
        echo.sequence,
        echo.payload[::-1] + b"?" if faults.wrong_payload else echo.payload,
    )
    return echo_to_wire(answer)


def lldp_frame(source: int, chassis: int, port: str, system: str = "") -> bytes:
    """Build an LLDP frame whose chassis ID is a MAC and whose port ID is a name (IEEE 802.1AB)."""

    def part(kind: int, value: bytes) -> bytes:
        return (kind << 9 | len(value)).to_bytes(2) + value

    ethernet = LLDP_GROUP.to_bytes(6) + source.to_bytes(6) + ETHERTYPE_LLDP.to_bytes(2)
    said = part(1, b"\x04" + chassis.to_bytes(6)) + part(2, b"\x05" + port.encode()) + part(3, (120).to_bytes(2))
    return ethernet + said + (part(5, system.encode()) if system else b"") + part(0, b"")


class LldpSpeaker:
    """Sends LLDP to the station: from a device at the far end of a direct cable, or from the switch port."""

    def __init__(self, rig: Rig, jack: Jack | None, chassis: int, port: str) -> None:
        """With a jack, its device sends while it is alive and its cable is in; without one, the switch sends."""
        self.rig, self.jack, self._frame = rig, jack, lldp_frame(chassis, chassis, port)
        rig.after(0.5, self._turn)

    def _turn(self) -> None:
        self.rig.after(LLDP_EVERY, self._turn)
        if self.jack is None:
            self.rig.say_to_station(self._frame)
            return
        host = self.jack.host
        if isinstance(host, VirtualDevice) and not host.dead and self.rig.time >= host.up_from:
            self.rig.transmit(self.jack, self._frame)


class Forger:
    """A host that sees the frames to the station and forges replies of a device.

    With `by_arp` it repeats the device's ARP reply. ARP replies carry no number, so the forged one does not differ from
    a true one. Otherwise it sends echo replies: invented ones, and repeated true ones.
    """

    def __init__(self, rig: Rig, jack: Jack, address: int, mac: int, station: int, by_arp: bool) -> None:
        """`jack` has the station's MAC, as on a mirror port; `station` is the address that the station sends from."""
        self.rig, self.jack, self.by_arp = rig, jack, by_arp
        self.address, self.mac, self.station = address, mac, station
        self._answers: list[bytes] = []
        self._turns = 0
        jack.host = self
        rig.after(FORGES_EVERY, self._turn)

    def hear(self, jack: Jack, frame: bytes) -> None:
        """Record the newest true echo replies."""
        echo = echo_from_wire(frame)
        if echo is not None and echo.type == ECHO_REPLY and echo.source == self.mac:
            self._answers = [*self._answers[-ANSWERS_KEPT:], frame]

    def cable(self, jack: Jack, up: bool) -> None:
        """Do nothing: its own cable is not moved."""

    def _turn(self) -> None:
        self._turns += 1
        if self.by_arp:
            if self._turns % 4 == 0:
                self.rig.transmit(self.jack, arp_reply(self.mac, self.address, self.jack.mac, self.station))
        elif self._turns % 2 == 0:
            self.rig.transmit(self.jack, self._invented())
        elif self._answers:
            self.rig.transmit(self.jack, self._answers[0])
        self.rig.after(FORGES_EVERY, self._turn)

    def _invented(self) -> bytes:
        number, token = self.rig.random.randrange(0x10000), self.rig.random.randbytes(16)
        to, turn = self.jack.mac, self._turns
        return echo_to_wire(Echo(to, self.mac, self.address, self.station, 64, ECHO_REPLY, number, turn, token))
