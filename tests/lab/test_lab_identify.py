"""Tests of `identify` on real kernels: it finds a used device on a direct cable by listening, then by requests."""

from __future__ import annotations

import json
import re
import socket
import subprocess
from pathlib import Path

import pytest
from scapy.contrib.lldp import (
    LLDPDUChassisID,
    LLDPDUEndOfLLDPDU,
    LLDPDUManagementAddress,
    LLDPDUPortID,
    LLDPDUSystemName,
    LLDPDUTimeToLive,
)
from scapy.layers.dhcp import BOOTP, DHCP
from scapy.layers.inet import IP, UDP
from scapy.layers.inet6 import ICMPv6ND_NS, IPv6
from scapy.layers.l2 import Ether
from scapy.packet import Packet

from tests.lab.commands import NETCHECK, Process, begun, run
from tests.lab.netns import Lab

pytestmark = [pytest.mark.lab, pytest.mark.timeout(300)]
IDENTIFIED = """format = 1
[site]
name = "Bench"
[[subnet]]
name = "line"
prefix = "10.62.20.0/26"
[[device]]
name = "drive"
  [[device.interface]]
  name = "lan"
  subnet = "line"
  address = "10.62.20.61"
  mac = "00-00-5E-00-53-14"
"""


# Built by scapy: a BOOTP request (RFC 951), a DHCP discover for an address (RFC 2131 section 4.4.1), and LLDP with a
# management address (IEEE 802.1AB).
MAC = "00:00:5e:00:53:14"
TO_ALL = Ether(dst="ff:ff:ff:ff:ff:ff", src=MAC) / IP(src="0.0.0.0", dst="255.255.255.255") / UDP(sport=68, dport=67)
BOOTED = TO_ALL / BOOTP(op=1, chaddr=bytes.fromhex(MAC.replace(":", "")), xid=7)
REQUESTED = [("message-type", "discover"), ("requested_addr", "10.62.20.60"), ("hostname", "used-drive"), "end"]
TOLD = (
    Ether(dst="01:80:c2:00:00:0e", src=MAC) / LLDPDUChassisID(subtype=4, id=MAC) / LLDPDUPortID(subtype=7, id=b"1")
    / LLDPDUTimeToLive(ttl=120) / LLDPDUSystemName(system_name=b"used-drive")
    / LLDPDUManagementAddress(management_address_subtype=1, management_address=bytes([10, 62, 20, 61]))
    / LLDPDUEndOfLLDPDU()
)  # fmt: skip
# The first frame of a device with IPv6 at link-up: the check of its own link-local address (RFC 4862 section 5.4).
CHECKED = (
    Ether(dst="33:33:ff:00:53:14", src=MAC)
    / IPv6(src="::", dst="ff02::1:ff00:5314")
    / ICMPv6ND_NS(tgt="fe80::200:5eff:fe00:5314")
)


def test_a_used_device_is_found_by_listening_or_by_requests(lab: Lab) -> None:
    """A device is found by its announcement at link-up, or by ARP requests if they are allowed."""
    station, device = lab.namespace("station"), lab.namespace("device")
    lab.veth((station, "eth0"), (device, "eth0"), macs=("00-00-5E-00-53-01", "00-00-5E-00-53-14"))
    lab.address(device, "eth0", "192.168.0.47/24")
    lab.down(device, "eth0")
    lab.sysctl(device, {"net.ipv4.conf.eth0.arp_notify": 1})
    process = lab.start(
        station, [*NETCHECK, "identify", "-i", "eth0", "--for", "40s"], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    begun(process)
    lab.up(device, "eth0")
    out, said = process.communicate(timeout=60)
    assert process.returncode == 0, said
    assert b"192.168.0.47" in out
    assert b"ARP announcement" in out
    assert b"set 192.168.0.254, mask 255.255.255.0 (/24), on eth0" in out
    silent = run(lab, station, "identify", "-i", "eth0", "--for", "1s")
    assert silent.returncode == 1
    assert "--ask" in silent.stdout
    asked = run(lab, station, "identify", "-i", "eth0", "--for", "1s", "--ask", "--pace", "100", "--format", "json")
    assert asked.returncode == 0, asked.stderr
    (host,) = json.loads(asked.stdout)["hosts"]
    assert (host["address"], host["mac"]) == ("192.168.0.47", "00-00-5E-00-53-14")
    assert host["set"] == {"address": "192.168.0.254", "prefix_length": 24, "already": False, "guessed": True}


def test_a_device_that_sends_dhcp_or_lldp_is_identified(lab: Lab, tmp_path: Path) -> None:
    """A device that sends DHCP requests has no address; LLDP leads to its row of the plan and the address to set."""
    (tmp_path / "plan.toml").write_text(IDENTIFIED, "utf-8")
    asking = identified(lab, tmp_path, "2s", BOOTED, BOOTED / DHCP(options=REQUESTED))
    telling = identified(lab, tmp_path, "20s", TOLD)
    checking = identified(lab, tmp_path, "2s", CHECKED)
    code, text = ended(asking)
    assert code == 1
    assert re.search(r"00-00-5E-00-53-14 +used-drive +planned for drive/lan +DHCP", text)
    assert "note: 10.62.20.60: 00-00-5E-00-53-14 asks for it by DHCP" in text
    assert "note: it has no address and requests one by DHCP or BOOTP" in text
    code, text = ended(telling)
    assert code == 0
    assert re.search(r"10.62.20.61 +00-00-5E-00-53-14 +used-drive +drive/lan, as planned +LLDP", text)
    assert "to reach 10.62.20.61: set 10.62.20.62, mask 255.255.255.192 (/26), on eth0" in text
    code, text = ended(checking)
    assert code == 1
    assert re.search(r"no address +00-00-5E-00-53-14 +planned for drive/lan +IPv6", text)
    assert "to try its planned address 10.62.20.61: set 10.62.20.62, mask 255.255.255.192 (/26), on eth0" in text


def identified(lab: Lab, folder: Path, longest: str, *frames: Packet) -> Process:
    """Run `identify` on a direct cable whose far end sends these frames."""
    station, device = lab.namespace("station"), lab.namespace("device")
    lab.veth((station, "eth0"), (device, "eth0"), macs=("00-00-5E-00-53-01", "00-00-5E-00-53-14"))
    words = [*NETCHECK, "identify", "-i", "eth0", "--for", longest, "--plan", str(folder / "plan.toml")]
    process = lab.start(station, words, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    begun(process)
    with lab.inside(device), socket.socket(socket.AF_PACKET, socket.SOCK_RAW) as packets:
        packets.bind(("eth0", 0))
        for frame in frames:
            packets.send(bytes(frame))
    return process


def ended(process: Process) -> tuple[int, str]:
    """Return the exit code and the output."""
    out, said = process.communicate(timeout=60)
    assert b"Traceback" not in said
    return process.returncode, out.decode()
