"""The reply matcher: matches received frames with probes, and counts forged replies.

No I/O and no clock. Every frame is hostile: it may contain any bytes and come any number of times.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from random import Random

from netcheck.proof.probing.address_state import LATE, AddressState, Probe, Sighting
from netcheck.wire.frames import (
    BROADCAST,
    ECHO_REPLY,
    REPLY,
    REQUEST,
    Arp,
    Echo,
    arp_from_wire,
    arp_reply,
    believable,
    echo_from_wire,
)
from netcheck.wire.link import Adapter, Heard

REPLY_EVERY = 0.05  # seconds between replies for the borrowed address: a flood of requests causes no flood of replies
REPLY_EACH = 1.0  # seconds between replies to one host
MOST_ASKERS = 1024  # hosts whose last reply is remembered


class ReplyMatcher:
    """Reads frames and matches replies with probes.

    An echo reply counts only if it has the identifier of this run, an open sequence number, the 16 random bytes and the
    right addresses. Any other echo reply for an address of this run is counted as forged.
    """

    def __init__(self, adapters: Sequence[Adapter], rng: Random) -> None:
        """`rng` gives the identifier and the random bytes of all echo requests of this run."""
        self.adapters = adapters
        self.own_macs = {adapter.mac for adapter in adapters}
        self.identifier = rng.randrange(1, 0x10000)
        self.token = rng.randbytes(16)
        self.senders: dict[tuple[int, str], int] = {}  # (adapter, subnet) -> the address to ask from
        self.entries: dict[tuple[int, int], AddressState] = {}  # (adapter, address)
        self.borrowed: set[int] = set()
        self.claiming: set[int] = set()  # addresses that are borrowed if no host has them
        self.conflict: int | None = None  # the MAC of a host that has a borrowed address
        self.forged = 0  # echo replies that match no probe of this run
        self.replies: list[tuple[bytes, int]] = []  # replies for the borrowed address, and the address they go to
        self._open: dict[int, Probe] = {}  # echo probes by sequence number
        self._opened: deque[Probe] = deque()  # the same probes in order of sending
        self._reply_free_at = 0.0
        self._asked_us: dict[int, float] = {}  # MAC of a requester -> time of the last reply

    def expect(self, probe: Probe) -> None:
        """Expect the reply to an echo probe."""
        self.forget(probe.sent)
        self._open[probe.sequence] = probe
        self._opened.append(probe)

    def forget(self, now: float) -> None:
        """Drop the echo probes whose replies can no longer be matched."""
        while self._opened and self._opened[0].expires + LATE <= now:
            probe = self._opened.popleft()
            if self._open.get(probe.sequence) is probe:
                del self._open[probe.sequence]

    def hear(self, heard: Heard) -> Sighting | None:
        """Read one frame; return the MAC and the address that it was heard for, or None if the frame has neither."""
        if (arp := arp_from_wire(heard.frame)) is not None:
            return self._hear_arp(heard, arp)
        if (echo := echo_from_wire(heard.frame)) is not None and echo.type == ECHO_REPLY:
            return self._hear_echo(heard, echo)
        return None

    def _hear_arp(self, heard: Heard, arp: Arp) -> Sighting | None:
        if arp.sender_mac in self.own_macs or not believable(arp.sender_mac):
            return None
        if heard.adapter == 0:
            self._check_borrowed(heard.at, arp)
        if arp.sender_ip == 0:
            claimed = self.entries.get((heard.adapter, arp.target_ip))
            if claimed is not None:
                claimed.claimed, claimed.claimed_by = heard.at, arp.sender_mac
            return Sighting(heard.at, 0, arp.sender_mac, "said", heard.adapter)
        entry = self.entries.get((heard.adapter, arp.sender_ip))
        to_us = entry is not None and arp.op == REPLY and self._to_us(heard.adapter, entry, arp)
        probe = entry.newest_arp(heard.at) if entry is not None and to_us else None
        return self._note(heard, entry, probe, "arp" if probe else "said", arp.sender_mac, arp.sender_ip)

    def _to_us(self, adapter: int, entry: AddressState, arp: Arp) -> bool:
        """Return whether an ARP reply is for this computer.

        Its destination is our MAC, or it is a broadcast (RFC 3927 section 2.5) with our address or 0 as its target.
        """
        if arp.destination == self.adapters[adapter].mac:
            return True
        return arp.destination == BROADCAST and arp.target_ip in (0, self.senders.get((adapter, entry.net)))

    def _check_borrowed(self, at: float, arp: Arp) -> None:
        """Detect a host that has or claims the borrowed address (RFC 5227 sections 2.1.1, 2.4).

        Queue a reply to a host that asks for the borrowed address.
        """
        claims = arp.op == REQUEST and arp.sender_ip == 0 and arp.target_ip in self.claiming
        if claims or arp.sender_ip in self.borrowed or arp.sender_ip in self.claiming:
            self.conflict = arp.sender_mac
        elif arp.op == REQUEST and arp.target_ip in self.borrowed and self._may_reply(at, arp.sender_mac):
            mac = self.adapters[0].mac
            self.replies.append((arp_reply(mac, arp.target_ip, arp.sender_mac, arp.sender_ip), arp.sender_ip))

    def _may_reply(self, at: float, sender: int) -> bool:
        if at < self._reply_free_at or at < self._asked_us.get(sender, -REPLY_EACH) + REPLY_EACH:
            return False
        if len(self._asked_us) >= MOST_ASKERS:
            self._asked_us.clear()
        self._reply_free_at, self._asked_us[sender] = at + REPLY_EVERY, at
        return True

    def _hear_echo(self, heard: Heard, echo: Echo) -> Sighting | None:
        probe = self._open.get(echo.sequence)
        entry = self.entries.get((heard.adapter, echo.source_ip))
        if (
            probe is None
            or entry is None
            or heard.at >= probe.expires + LATE
            or (probe.adapter, probe.address) != (heard.adapter, echo.source_ip)
            or echo.identifier != self.identifier
            or echo.payload != self.token
            or echo.destination != self.adapters[heard.adapter].mac
            or echo.target_ip != self.senders.get((heard.adapter, entry.net))
            or echo.source in self.own_macs
            or not believable(echo.source)
        ):
            self.forged += entry is not None or echo.identifier == self.identifier
            return None
        return self._note(heard, entry, probe, "echo", echo.source, echo.source_ip)

    def _note(
        self, heard: Heard, entry: AddressState | None, probe: Probe | None, how: str, mac: int, address: int
    ) -> Sighting:  # fmt: skip
        late = probe is not None and heard.at > probe.expires
        sighting = Sighting(heard.at, address, mac, how, heard.adapter, probe.sent if probe else None, late)
        if entry is not None:
            entry.note(sighting, probe)
        return sighting
