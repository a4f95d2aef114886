"""Finds hosts without sending a frame, in ARP, IPv4 on the link, DHCP, LLDP and IPv6 frames of other hosts.

A `Listener` reads frames and records hosts, in bounded memory. `listen` is the loop over a link. A host that sends
nothing is not found, so listening covers no prefix.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from netcheck.addr import Address
from netcheck.field.discovery import MOST, DiscoveredHost
from netcheck.survey.readers.values import why_no_host
from netcheck.wire.frames import (
    ACK,
    BOOTREPLY,
    REPLY,
    Arp,
    Dhcp,
    Ip,
    Lldp,
    arp_from_wire,
    believable,
    dhcp_from_wire,
    ip_from_wire,
    ipv6_from_wire,
    lldp_from_wire,
)
from netcheck.wire.link import Carrier, Heard, Link, Lost, Suspended

ARP, ANNOUNCED, PROBED = "ARP", "ARP announcement", "checks whether it is free (ARP probe)"
IPV4, DHCP, ASKED_FOR, LLDP = "IPv4", "DHCP", "asks for it by DHCP", "LLDP"
IPV6 = "IPv6"  # only the sender's MAC is kept; a device sends such frames at link up (RFC 4862 section 5.4)
_LIMITED = 0xFFFFFFFF  # the limited broadcast, which no router forwards: RFC 1812 section 5.3.5.1
_LOCAL_GROUPS = 0xE00000  # 224.0.0.0/24, which no router forwards: RFC 5771 section 4
_LONGEST_NAME = 255  # characters of a DNS name: RFC 1035 section 2.3.4

Span = tuple[int, int]  # (first address, prefix length)
Key = TypeVar("Key")


@dataclass
class Listener:
    """The hosts that were heard so far.

    - `own`: this computer's MACs.
    - `nets`: the prefixes on this link. A router forwards frames of other IPv4 senders, so their MAC is the router's.
    - `left_out`: hosts that were not kept; `dropped`: frames that this computer dropped; `suspended`: seconds for which
      it was suspended.
    """

    own: frozenset[int]
    nets: Sequence[Span] = ()
    frames: int = 0
    left_out: int = 0
    dropped: int = 0
    suspended: float = 0.0
    hosts: dict[tuple[int, int], dict[str, None]] = field(default_factory=dict)  # (address, MAC) -> how it was found
    tentative: dict[tuple[int, int], dict[str, None]] = field(default_factory=dict)  # requested and not used yet
    names: dict[int, str] = field(default_factory=dict)  # MAC -> name
    macs: dict[int, dict[str, None]] = field(default_factory=dict)  # every MAC that sent a frame -> how it was found

    def hear(self, frame: bytes) -> None:
        """Read one frame and record the host that sent it."""
        self.frames += 1
        source = int.from_bytes(frame[6:12], "big")
        if len(frame) < 14 or source in self.own or not believable(source):
            return
        if (arp := arp_from_wire(frame)) is not None:
            self._arp(arp)
        elif (said := lldp_from_wire(frame)) is not None:
            self._lldp(said)
        elif (ip := ip_from_wire(frame)) is not None:
            self._ip(ip)
            if (dhcp := dhcp_from_wire(frame)) is not None:
                self._dhcp(dhcp)
        elif ipv6_from_wire(frame):
            self._note(self.macs, source, IPV6)

    def _arp(self, arp: Arp) -> None:
        if arp.sender_mac in self.own or not believable(arp.sender_mac):
            return
        if arp.sender_ip:
            self._keep(self.hosts, arp.sender_ip, arp.sender_mac, _how(arp))
        else:
            self._keep(self.tentative, arp.target_ip, arp.sender_mac, PROBED)

    def _lldp(self, said: Lldp) -> None:
        if not said.ttl:
            return
        self._name(said.source, said.system_name)
        self._note(self.macs, said.source, LLDP)
        if said.address:
            self._keep(self.hosts, said.address, said.source, LLDP)

    def _ip(self, ip: Ip) -> None:
        local = ip.target_ip == _LIMITED or ip.target_ip >> 8 == _LOCAL_GROUPS
        if ip.source_ip and (local or self._on_link(ip.source_ip)):
            self._keep(self.hosts, ip.source_ip, ip.source, IPV4)

    def _on_link(self, address: int) -> bool:
        return any(first >> (32 - length) == address >> (32 - length) for first, length in self.nets)

    def _dhcp(self, said: Dhcp) -> None:
        if said.client in self.own or not believable(said.client):
            return
        self._note(self.macs, said.client, DHCP)
        if said.op == BOOTREPLY:
            if said.gets and said.type in (0, ACK):
                self._keep(self.hosts, said.gets, said.client, DHCP)
            return
        self._name(said.client, said.name)
        if said.has:
            self._keep(self.hosts, said.has, said.client, DHCP)
        elif said.wants:
            self._keep(self.tentative, said.wants, said.client, ASKED_FOR)

    def _keep(self, where: dict[tuple[int, int], dict[str, None]], address: int, mac: int, how: str) -> None:
        self._note(self.macs, mac, how)
        if not why_no_host(Address(4, address)):
            self._note(where, (address, mac), how)

    def _note(self, where: dict[Key, dict[str, None]], key: Key, how: str) -> None:
        if key in where or len(where) < MOST:
            where.setdefault(key, {})[how] = None
        else:
            self.left_out += 1

    def _name(self, mac: int, name: str) -> None:
        if name.strip() and (mac in self.names or len(self.names) < MOST):
            self.names[mac] = name.strip()[:_LONGEST_NAME]

    def found(self) -> tuple[DiscoveredHost, ...]:
        """Return all hosts with an address, by address and MAC."""
        return tuple(
            DiscoveredHost(address, mac, self.names.get(mac, ""), tuple(how))
            for (address, mac), how in sorted(self.hosts.items())
        )

    def wanted(self) -> tuple[DiscoveredHost, ...]:
        """Return the addresses that a host requested and does not use as far as was heard."""
        return tuple(
            DiscoveredHost(address, mac, self.names.get(mac, ""), tuple(how))
            for (address, mac), how in sorted(self.tentative.items())
            if (address, mac) not in self.hosts
        )

    def nameless(self) -> tuple[DiscoveredHost, ...]:
        """Return the hosts that were heard without an address."""
        known = {mac for _, mac in self.hosts}
        return tuple(
            DiscoveredHost(0, mac, self.names.get(mac, ""), tuple(how))
            for mac, how in sorted(self.macs.items())
            if mac not in known
        )

    def notes(self) -> tuple[str, ...]:
        """Return sentences about frames that were not received and hosts that were not kept."""
        notes = []
        if self.dropped:
            notes.append(f"this computer dropped {self.dropped} frames: hosts may be missing")
        if self.suspended:
            notes.append(f"this computer was suspended for {self.suspended:.0f} s: hosts may be missing")
        if self.left_out:
            notes.append(f"{self.left_out} further entries were left out, since {MOST} are kept")
        return tuple(notes)


def _how(arp: Arp) -> str:
    return ANNOUNCED if arp.sender_ip == arp.target_ip and arp.op != REPLY else ARP


def listen(link: Link, heard: Listener, seconds: float, tick: Callable[[float], None]) -> str:
    """Listen for *seconds*; call `tick` about twice a second with the seconds passed.

    Return why it ended early, "" if it did not.
    """
    begin = link.now()
    while (passed := link.now() - begin) < seconds:
        tick(passed)
        if why := receive(link, heard, min(begin + seconds, link.now() + 0.5)):
            return why
    return ""


def receive(link: Link, heard: Listener, until: float) -> str:
    """Read the frames that arrive up to a time, at least once; return a sentence if the interface was removed, else "".

    Go on waiting while the interface is switched off or has no cable.
    """
    while True:
        for news in link.receive(until):
            match news:
                case Heard():
                    heard.hear(news.frame)
                case Lost():
                    heard.dropped += news.frames
                case Suspended():
                    heard.suspended += news.seconds
                case Carrier():
                    if news.gone:
                        return f"the interface {link.adapters[0].name} was removed"
        if link.now() >= until:
            return ""
