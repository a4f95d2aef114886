"""Virtual devices for the rig: they answer ARP and echo as a stack does, with the faults that fool a ping by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache

from netcheck.rig.network import Jack, Rig
from netcheck.wire.frames import (
    ECHO_REPLY,
    ECHO_REQUEST,
    ETHERTYPE_ARP,
    REQUEST,
    Arp,
    Echo,
    arp_from_wire,
    arp_reply,
    arp_request,
    echo_from_wire,
    echo_to_wire,
)

ARP_TYPE = ETHERTYPE_ARP.to_bytes(2, "big")
read_arp = lru_cache(maxsize=8)(arp_from_wire)  # a broadcast is read by every device on the segment
SELF_CHECK = 6.0  # seconds from link-up to first use of an address: RFC 5227 section 2.1.1 gives 4 to 7


@dataclass(slots=True)
class Faults:
    """What is wrong with a device. Times are seconds; every field's default is a healthy device's."""

    echo: bool = True  # answers echo
    arp: bool = True  # answers ARP
    slow: float = 0.0  # thinks this long before every answer
    boots_in: float = 0.0  # silent this long after its cable came in
    checks_itself: bool = False  # RFC 5227 at link-up; gives the address up for good when somebody else probes it
    dies_when_pulled: bool = False  # never returns
    wrong_identifier: bool = False
    wrong_payload: bool = False
    wrong_source: int = 0  # answers echo from this address instead
    echo_from: int = 0  # sends echo answers from this MAC
    answers_all: bool = False  # proxy ARP: answers for every address but those with sender 0
    only_while_out: Jack | None = None  # answers only while this other cable is out
    weak: bool = False  # answers at every jack for the addresses of all
    deaf_to: Callable[[int], bool] | None = None  # ignores senders with such addresses (wrong mask, reverse path)
    rate: float = 0.0  # echo answers a second, at most; 0 for as many as it is asked
    there: tuple[float, float, float] = (0.0, 0.0, 0.0)  # answers so many seconds, is away so many, counted from when


@dataclass(eq=False)
class VirtualDevice:
    """A device with one or more jacks and the addresses it owns at each."""

    rig: Rig
    addresses: dict[Jack, set[int]]
    faults: Faults = field(default_factory=Faults)
    up_from: float = 0.0
    dead: bool = False
    gave_up: bool = False
    _checking: bool = False
    _free_at: float = 0.0

    def __post_init__(self) -> None:
        """Become the host of its jacks."""
        for jack in self.addresses:
            jack.host = self

    def cable(self, jack: Jack, up: bool) -> None:
        """Start again when a cable comes in; die, if that is its fault, when it goes out."""
        if not up:
            self.dead = self.dead or self.faults.dies_when_pulled
            return
        self.up_from = self.rig.now() + self.faults.boots_in
        if self.faults.checks_itself:
            self.up_from = self.rig.now() + SELF_CHECK
            self._checking = True
            for turn in range(3):
                self.rig.after(0.5 + 1.5 * turn, lambda: self._probe(jack))
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
        """Say to all which addresses this jack has."""
        for address in self.addresses[jack]:
            self.rig.transmit(jack, arp_request(jack.mac, address, address))

    def restart(self, seconds: float) -> None:
        """Be silent for a while, by itself; the link stays up."""
        self.up_from = max(self.up_from, self.rig.now() + seconds)

    def hear(self, jack: Jack, frame: bytes) -> None:
        """Answer what is asked, as far as the faults let it."""
        arp = read_arp(frame) if frame[12:14] == ARP_TYPE else None
        if self._checking and arp is not None and not arp.sender_ip and self._owns(jack, arp):
            self.gave_up = self.gave_up or arp.op == REQUEST
        now = self.rig.now()
        if self.dead or self.gave_up or now < self.up_from or self._away(now):
            return
        if arp is not None:
            if arp.op == REQUEST and self.faults.arp:
                self._answer_arp(jack, arp)
        elif (echo := echo_from_wire(frame)) is not None and echo.type == ECHO_REQUEST and self.faults.echo:
            self._answer_echo(jack, echo)

    def _away(self, now: float) -> bool:
        other = self.faults.only_while_out
        if other is not None and other.plugged:
            return True
        stays, leaves, since = self.faults.there
        return leaves > 0 and (now - since) % (stays + leaves) >= stays

    def _owns(self, jack: Jack, arp: Arp) -> bool:
        return arp.target_ip in self._owned(jack)

    def _owned(self, jack: Jack) -> set[int]:
        return set().union(*self.addresses.values()) if self.faults.weak else self.addresses[jack]

    def _deaf(self, sender: int) -> bool:
        return bool(sender) and self.faults.deaf_to is not None and self.faults.deaf_to(sender)

    def _answer_arp(self, jack: Jack, arp: Arp) -> None:
        proxied = self.faults.answers_all and arp.sender_ip != 0
        if (self._owns(jack, arp) or proxied) and not self._deaf(arp.sender_ip):
            self._reply(jack, arp_reply(jack.mac, arp.target_ip, arp.sender_mac, arp.sender_ip))

    def _answer_echo(self, jack: Jack, echo: Echo) -> None:
        faults = self.faults
        if not (echo.target_ip in self._owned(jack) or faults.answers_all) or self._deaf(echo.source_ip):
            return
        if faults.rate:
            if self.rig.now() < self._free_at:
                return
            self._free_at = self.rig.now() + 1 / faults.rate
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
        self._reply(jack, echo_to_wire(answer))

    def _reply(self, jack: Jack, frame: bytes) -> None:
        if self.faults.slow:
            self.rig.after(self.faults.slow, lambda: self.rig.transmit(jack, frame))
        else:
            self.rig.transmit(jack, frame)


FORGES_EVERY = 0.25  # seconds between forged frames
ANSWERS_KEPT = 16  # true answers kept to be repeated


class Spoofer:
    """Sits where it sees what is sent to the station. With `by_arp` it repeats the device's ARP answer, which carries
    no number and cannot be told from the true one; else it sends echo answers: invented ones, and true ones again."""

    def __init__(self, rig: Rig, jack: Jack, address: int, mac: int, station: int, by_arp: bool) -> None:
        """`jack` has the station's MAC, as a mirror port would; `station` is the address that it asks from."""
        self.rig, self.jack, self.by_arp = rig, jack, by_arp
        self.address, self.mac, self.station = address, mac, station
        self._answers: list[bytes] = []
        self._turns = 0
        jack.host = self
        rig.after(FORGES_EVERY, self._turn)

    def hear(self, jack: Jack, frame: bytes) -> None:
        """Keep the newest true echo answers."""
        echo = echo_from_wire(frame)
        if echo is not None and echo.type == ECHO_REPLY and echo.source == self.mac:
            self._answers = [*self._answers[-ANSWERS_KEPT:], frame]

    def cable(self, jack: Jack, up: bool) -> None:
        """Its own cable is never moved."""

    def _turn(self) -> None:
        self._turns += 1
        if self.by_arp:
            self._say(arp_reply(self.mac, self.address, self.jack.mac, self.station), self._turns % 4 == 0)
        elif self._turns % 2:
            self._say(self._answers[0] if self._answers else b"", bool(self._answers))
        else:
            self._say(self._invented(), True)
        self.rig.after(FORGES_EVERY, self._turn)

    def _say(self, frame: bytes, now: bool) -> None:
        if now:
            self.rig.transmit(self.jack, frame)

    def _invented(self) -> bytes:
        number, token = self.rig.random.randrange(0x10000), self.rig.random.randbytes(16)
        to, turn = self.jack.mac, self._turns
        return echo_to_wire(Echo(to, self.mac, self.address, self.station, 64, ECHO_REPLY, number, turn, token))
