"""Listens on a cable with tcpdump and reads its file with scapy, independently of netcheck's own code."""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

from scapy.layers.inet import ICMP, IP
from scapy.layers.l2 import ARP
from scapy.packet import Packet
from scapy.utils import PcapReader

from tests.lab.netns import Lab


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame; `at` is the time when it passed, in seconds of the wall clock.

    `what` is "arp request", "arp reply", "echo request", "echo reply" or "other"; addresses are text, MACs as in
    `00-00-5E-00-53-01`.
    """

    at: float
    source: str
    to: str
    what: str
    sender: str
    target: str
    data: bytes

    @property
    def broadcast(self) -> bool:
        """True for a frame to the broadcast address."""
        return self.to == "FF-FF-FF-FF-FF-FF"


def tcpdump_there() -> bool:
    """Return whether tcpdump is installed."""
    return shutil.which("tcpdump") is not None


class Listener:
    """Records every frame on an interface until `frames` is called."""

    def __init__(self, lab: Lab, namespace: str, interface: str, path: Path) -> None:
        """Start tcpdump, and return after it has begun to listen."""
        self.lab, self.path = lab, path
        command = ["tcpdump", "-i", interface, "-w", str(path), "-U", "--immediate-mode", "-p", "-n", "-s", "0"]
        self._process = lab.start(namespace, [*command, "-Z", "root"], stderr=subprocess.PIPE)
        assert self._process.stderr is not None
        for line in self._process.stderr:
            if b"listening on" in line:
                return
        raise RuntimeError("tcpdump did not start")

    def frames(self) -> list[Frame]:
        """Stop tcpdump and return the frames."""
        self.lab.stop(self._process)
        return frames_in(self.path)


def frames_in(path: Path) -> list[Frame]:
    """Return the frames of a capture file."""
    with PcapReader(str(path)) as reader:
        return [_frame(packet) for packet in reader]


def _frame(packet: Packet) -> Frame:
    what, sender, target = "other", "", ""
    if ARP in packet:
        what = {1: "arp request", 2: "arp reply"}.get(packet[ARP].op, "other")
        sender, target = packet[ARP].psrc, packet[ARP].pdst
    elif ICMP in packet:
        what = {8: "echo request", 0: "echo reply"}.get(packet[ICMP].type, "other")
        sender, target = packet[IP].src, packet[IP].dst
    return Frame(float(packet.time), _mac(packet.src), _mac(packet.dst), what, sender, target, packet.original)


def _mac(text: str) -> str:
    return text.replace(":", "-").upper()
