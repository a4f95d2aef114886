"""Somebody on the switch who answers in a device's name, or repeats what it once said."""

from __future__ import annotations

from netcheck.rig.network import Jack, Rig
from netcheck.wire.frames import ECHO_REPLY, Echo, arp_reply, echo_from_wire, echo_to_wire

EVERY = 0.25  # seconds between forged frames
KEPT = 16  # true answers kept to be repeated


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
        rig.after(EVERY, self._turn)

    def hear(self, jack: Jack, frame: bytes) -> None:
        """Keep the newest true echo answers."""
        echo = echo_from_wire(frame)
        if echo is not None and echo.type == ECHO_REPLY and echo.source == self.mac:
            self._answers = [*self._answers[-KEPT:], frame]

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
        self.rig.after(EVERY, self._turn)

    def _say(self, frame: bytes, now: bool) -> None:
        if now:
            self.rig.transmit(self.jack, frame)

    def _invented(self) -> bytes:
        number, token = self.rig.random.randrange(0x10000), self.rig.random.randbytes(16)
        to, turn = self.jack.mac, self._turns
        return echo_to_wire(Echo(to, self.mac, self.address, self.station, 64, ECHO_REPLY, number, turn, token))
