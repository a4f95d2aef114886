"""Plants in which a port looks proven and is not. Each function builds one and replaces the technician.

In each plant the cable is not where the run asks for it, another path or another owner answers, or the silent cable was
not pulled.
"""

from __future__ import annotations

import os
import signal
import socket
import threading
import time
from collections.abc import Callable
from functools import partial

from scapy.contrib.lldp import LLDPDUChassisID, LLDPDUEndOfLLDPDU, LLDPDUPortID, LLDPDUTimeToLive
from scapy.layers.l2 import ARP, Ether

from netcheck.addr import Mac
from netcheck.wire.frames import ECHO_REPLY, arp_from_wire, echo_from_wire
from tests.lab.plant import REACTION, Device, Plant
from tests.lab.plants.sound import in_background
from tests.lab.plants.usual import IMPOSTOR_MAC, pair
from tests.lab.responder import respond
from tests.lab.technician import Request

BOUNCE_PAUSE = 3.0  # seconds between two contacts of a loose plug
GIVES_UP_AFTER = 20.0  # seconds after which the technician of a keyed run skips the port


# Phase back: the device answers for a moment, and does not answer at the verdict


def slips_out(replies: int, *, contacts: int = 1, direct: bool = False) -> Callable[[Plant], None]:
    """Return a builder of a device whose plug slips out after some replies when it is back, *contacts* times."""

    def build(plant: Plant) -> None:
        _one_or_pair(plant, direct)

        def plug_in_badly(device: Device) -> None:
            for contact in range(contacts):
                if contact:
                    plant.pause(BOUNCE_PAUSE)
                _then_after_replies(plant, device, replies, lambda: plant.pull(device))
            _gives_up(plant)

        plant.at_return(plug_in_badly)

    return build


def dies_after_one_reply(*, direct: bool = False) -> Callable[[Plant], None]:
    """Return a builder of a device that answers once after its cable is back, and then never; its link stays up."""

    def build(plant: Plant) -> None:
        _one_or_pair(plant, direct)

        def die(device: Device) -> None:
            plant.lab.run(device.namespace, ["ip", "link", "set", "eth0", "arp", "off"])
            plant.lab.echo_blocked(device.namespace)

        def plug_in(device: Device) -> None:
            _then_after_replies(plant, device, 1, lambda: die(device))
            _gives_up(plant)

        plant.at_return(plug_in)

    return build


def _one_or_pair(plant: Plant, direct: bool) -> None:
    if direct:
        plant.device("alpha", 20, direct=True)
    else:
        pair(plant)


def _then_after_replies(plant: Plant, device: Device, replies: int, act: Callable[[], None]) -> None:
    """Plug the device in, confirm it, and call *act* as soon as it has sent *replies* replies to the station."""
    mac = Mac.from_text(device.mac).value
    with plant.lab.inside(device.namespace):
        packets = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(0x0003))
    with packets:
        packets.bind(("eth0", 0x0003))
        packets.settimeout(0.5)
        plant.plug_in(device)
        plant.confirm()
        until, seen = time.monotonic() + 30, 0
        while seen < replies and time.monotonic() < until:
            try:
                frame = packets.recv(2048)
            except OSError:  # no frame came, or the interface was down until now
                continue
            seen += _is_reply(frame, mac)
        act()


def _is_reply(frame: bytes, mac: int) -> bool:
    if (arp := arp_from_wire(frame)) is not None:
        return arp.op == 2 and arp.sender_mac == mac
    echo = echo_from_wire(frame)
    return echo is not None and echo.type == ECHO_REPLY and echo.source == mac


def _gives_up(plant: Plant, after: float = GIVES_UP_AFTER) -> None:
    """In a keyed run, skip the port after some seconds, because nobody puts the cable back."""
    if plant.keyed and plant.command is not None:
        plant.pause(after)
        plant.command.press("s")


# Wrong keys and wrong cables in a keyed run


def confirmed_without_pulling(plant: Plant) -> None:
    """The technician presses Enter at every request and moves no cable."""
    pair(plant)
    plant.technician = lambda request: plant.confirm()


def confirmed_wrong_cable(plant: Plant) -> None:
    """The technician moves the neighbour's cable at every request and confirms it by Enter."""
    _, beta = pair(plant)

    def technician(request: Request) -> None:
        if request.pulls:
            plant.pull(beta)
        elif request.plugs:
            plant.plug_in(beta)
        plant.confirm()

    plant.technician = technician


# Silences without a pull


def restarts_late(plant: Plant) -> None:
    """No cable is pulled: the device restarts 40 s after the first request and is back 25 s later."""
    alpha, _ = pair(plant)
    asked = threading.Event()

    def technician(request: Request) -> None:
        if request.pulls and not asked.is_set():
            asked.set()
            plant.pause(40.0)
            off_and_on(plant, alpha, 25.0)

    plant.technician = technician


def off_and_on(plant: Plant, device: Device, *seconds: float) -> None:
    """Switch the device off and on in turn for these seconds, and leave it on."""
    for number, wait in enumerate(seconds):
        (plant.plug_in if number % 2 else plant.pull)(device)
        plant.pause(wait)
    plant.plug_in(device)


def link_away(seconds: float) -> Callable[[Plant], None]:
    """Return a builder of a direct cable without link for some seconds at the request; no cable is pulled."""

    def build(plant: Plant) -> None:
        alpha = plant.device("alpha", 20, direct=True)
        asked = threading.Event()

        def technician(request: Request) -> None:
            if request.pulls and not asked.is_set():
                asked.set()
                plant.pause(REACTION)
                off_and_on(plant, alpha, seconds)

        plant.technician = technician

    return build


# Connectors


def quiet_switch_with_lldp(plant: Plant) -> None:
    """A switch at the "direct" cable sends LLDP with the name of the device's second port.

    The technician pulls and plugs in the station's own end. The plant must be direct.
    """
    plant.lab.veth((plant.station, "eth0"), (plant.switch, "p0"), macs=("00-00-5E-00-53-01", SWITCH_MAC))
    plant.lab.address(plant.station, "eth0", "192.0.2.1/24")
    plant.lab.bridge(plant.switch, "br0", ["p0"])
    plant.with_two_ports("alpha", 20)
    thread = threading.Thread(target=_announce, args=(plant, "2"), daemon=True)

    def technician(request: Request) -> None:
        plant.pause(REACTION)
        if request.pulls:
            plant.lab.down(plant.switch, "p0")
        elif request.plugs:
            plant.lab.up(plant.switch, "p0")

    plant.technician = technician
    thread.start()


SWITCH_MAC = "02-00-00-00-00-01"


def _announce(plant: Plant, port: str) -> None:
    """Send LLDP from the switch's end of the station's cable, twice a second, until the laboratory closes."""
    mac = SWITCH_MAC.replace("-", ":")
    frame = (
        Ether(dst="01:80:c2:00:00:0e", src=mac, type=0x88CC)
        / LLDPDUChassisID(subtype=4, id=mac)
        / LLDPDUPortID(subtype=7, id=port.encode())
        / LLDPDUTimeToLive(ttl=120)
        / LLDPDUEndOfLLDPDU()
    )
    with plant.lab.inside(plant.switch):
        packets = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
    with packets:
        packets.bind(("p0", 0))
        until = time.monotonic() + 200
        while time.monotonic() < until and (plant.command is None or plant.command.process.poll() is None):
            plant.pause(0.5)
            try:
                packets.send(bytes(frame).ljust(60, b"\0"))
            except OSError:  # the cable is out
                continue


# Second paths and second owners


def ring_heals(delay: int) -> Callable[[Plant], None]:
    """Return a builder of a device with two cables to the switch; spanning tree blocks one of them.

    The technician pulls the active cable and never plugs it in again. The other cable forwards after twice the forward
    delay, which is in seconds.
    """
    return partial(_ring, delay)


def _ring(delay: int, plant: Plant) -> None:
    alpha = plant.with_two_ports("alpha", 20)
    alpha.connectors = ("eth0",)
    plant.device("beta", 21)
    spanning_tree = ["type", "bridge", "stp_state", "1", "forward_delay", str(100 * delay)]
    root = ["priority", "4096", "hello_time", "100"]
    plant.lab.run(plant.switch, ["ip", "link", "set", "br0", *spanning_tree, *root])
    plant.lab.run(alpha.namespace, ["ip", "link", "set", "br0", *spanning_tree])
    plant.second_cable(alpha)
    plant.lab.up(alpha.namespace, "eth1")
    _until_forwarding(plant)

    plant.at_return(lambda device: _gives_up(plant, 90.0))


def _until_forwarding(plant: Plant) -> None:
    """Wait until spanning tree has settled: the station reaches the device, after twice the forward delay."""
    until = time.monotonic() + 60
    while time.monotonic() < until:
        if plant.lab.echo(plant.station, "192.0.2.20"):
            return
        plant.pause(0.5)
    raise AssertionError("the ring did not settle within 60 s")


def owner_for_anonymous_requests(plant: Plant) -> None:
    """A second owner with a /30 mask, strict reverse path and no gateway answers only ARP probes without a sender."""
    plant.device("alpha", 22)
    plant.device("beta", 26)
    stranger = plant.stranger(22, IMPOSTOR_MAC, prefix=30)
    plant.lab.reverse_path(stranger, 1)
    plant.lab.sysctl(stranger, {"net.ipv4.conf.eth0.rp_filter": 1})


def owner_at_the_return(plant: Plant) -> None:
    """Another host answers for the address for four seconds after the return of the cable."""
    pair(plant)
    stranger = plant.stranger(20, IMPOSTOR_MAC)
    plant.lab.down(stranger, "eth0")

    def plug_in(device: Device) -> None:
        plant.plug_in(device)
        plant.lab.up(stranger, "eth0")
        plant.pause(4.0)
        plant.lab.down(stranger, "eth0")

    plant.at_return(plug_in)


def owner_during_another_port(plant: Plant) -> None:
    """Another host answers for beta's address while alpha's replies are counted, and leaves before beta's turn."""
    pair(plant)
    plant.device("gamma", 22)
    stranger = plant.stranger(21, IMPOSTOR_MAC)

    def leave() -> None:
        if plant.command is not None and plant.command.wait_for(lambda line: line.startswith("heard "), 30):
            plant.pause(3.0)
            plant.lab.down(stranger, "eth0")

    in_background(plant, leave)


def owner_announces_during_another_port(plant: Plant) -> None:
    """Another host announces beta's address once while alpha is under test (RFC 5227 section 2.3), then leaves."""
    pair(plant)
    stranger = plant.lab.namespace("stranger")
    plant.plug(stranger, IMPOSTOR_MAC)
    announced = threading.Event()

    def technician(request: Request) -> None:
        if request.pulls and not announced.is_set():
            announced.set()
            announce_address(plant, stranger, IMPOSTOR_MAC, "192.0.2.21")
            plant.lab.down(stranger, "eth0")
        plant.obey(request)

    plant.technician = technician


def announce_address(plant: Plant, namespace: str, mac: str, address: str) -> None:
    """Send two ARP announcements for an address (RFC 5227 section 2.3)."""
    source = mac.replace("-", ":")
    frame = Ether(dst="ff:ff:ff:ff:ff:ff", src=source) / ARP(op=1, hwsrc=source, psrc=address, pdst=address)
    with plant.lab.inside(namespace):
        packets = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
    with packets:
        packets.bind(("eth0", 0))
        for _ in range(2):
            packets.send(bytes(frame).ljust(60, b"\0"))
            plant.pause(0.1)


def frames_lost_while_out(plant: Plant) -> None:
    """With the cable out, the computer is too busy to read its packets for 4 s.

    A flood fills the receive buffer, and the announcement of a second owner after it is lost.
    """
    pair(plant)
    stranger = plant.lab.namespace("stranger")
    plant.plug(stranger, IMPOSTOR_MAC)
    pulled = threading.Event()

    def technician(request: Request) -> None:
        plant.obey(request)
        if request.pulls and not pulled.is_set() and plant.command is not None:
            pulled.set()
            plant.pause(2.5)
            os.kill(plant.command.process.pid, signal.SIGSTOP)
            respond(plant.lab, stranger, "eth0", lifetime=3.0, flood={"a_second": 15000, "kind": "arp"})
            plant.pause(2.0)
            announce_address(plant, stranger, IMPOSTOR_MAC, "192.0.2.20")
            plant.pause(1.5)
            os.kill(plant.command.process.pid, signal.SIGCONT)

    plant.technician = technician
