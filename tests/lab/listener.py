"""An independent listener: tcpdump at a cable, its file read by scapy, so that nothing of ours says what was sent."""

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
    """One frame as it passed, `at` seconds of the wall clock. `what` is "arp request", "arp reply", "echo request",
    "echo reply" or "other"; addresses are text, MACs as in `00-00-5E-00-53-01`."""

    at: float
    source: str
    to: str
    what: str
    sender: str
    target: str
    data: bytes

    @property
    def broadcast(self) -> bool:
        """It goes to everybody."""
        return self.to == "FF-FF-FF-FF-FF-FF"


def tcpdump_there() -> bool:
    """Say whether there is a listener on this computer."""
    return shutil.which("tcpdump") is not None


class Listener:
    """Keeps everything that passes at an interface, from the moment it was made until `frames` is asked for."""

    def __init__(self, lab: Lab, namespace: str, interface: str, path: Path) -> None:
        """Begin; returns when it listens."""
        self.lab, self.path = lab, path
        command = ["tcpdump", "-i", interface, "-w", str(path), "-U", "--immediate-mode", "-p", "-n", "-s", "0"]
        self._process = lab.start(namespace, [*command, "-Z", "root"], stderr=subprocess.PIPE)
        assert self._process.stderr is not None
        for line in self._process.stderr:
            if b"listening on" in line:
                return
        raise RuntimeError("tcpdump did not start")

    def frames(self) -> list[Frame]:
        """End, and return what was kept."""
        self.lab.stop(self._process)
        return frames_in(self.path)


def frames_in(path: Path) -> list[Frame]:
    """Read a capture file by scapy."""
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
