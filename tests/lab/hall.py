"""A small plant on real kernels: a station, a switch or a direct cable, devices in namespaces, a hand on the cables.

The command runs in the station's namespace as a user would run it, its plain lines are read as they come, and the hand
does what they say: pulling a cable is taking the device's end of it down. An independent listener at the station's end
of the cable keeps every frame.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.lab.listener import Listener
from tests.lab.netns import Lab
from tests.lab.responder import respond
from tests.lab.running import Ended, Hand, Running

PLAN = """format = 1
[site]
name = "Bench"
[[subnet]]
name = "line"
prefix = "192.0.2.0/24"
gateway = "192.0.2.254"
[[station]]
name = "laptop"
address = "192.0.2.240/24"
"""
STATION_MAC = "00-00-5E-00-53-01"
OWN, BORROWED = "192.0.2.1", "192.0.2.240"
MOVES_AFTER = 0.7  # seconds in which the hand does what it is told


@dataclass
class Device:
    """A planned device in a namespace of its own; `jacks` are the interfaces of its ports, in their order."""

    name: str
    address: str
    namespace: str
    mac: str
    jacks: tuple[str, ...] = ("eth0",)
    behind: str = ""

    @property
    def row(self) -> str:
        """Its interface in the plan."""
        ports = "".join(f'"{number + 1}", ' for number in range(len(self.jacks)))
        return (
            f'[[device]]\nname = "{self.name}"\n  [[device.interface]]\n  name = "cpu"\n  subnet = "line"\n'
            f'  address = "{self.address}"\n  ports = [{ports}]\n'
            + (f'  behind = "{self.behind}"\n' if self.behind else "")
        )


@dataclass
class Hall:
    """The plant. With `own` the station's operating system has an address in the subnet, else one is borrowed; with
    `direct` there is no switch at the station's cable, but a device."""

    lab: Lab
    folder: Path
    own: bool = True
    direct: bool = False
    hand: Hand | None = None
    devices: list[Device] = field(default_factory=list)
    running: Running | None = None
    listener: Listener | None = None

    def __post_init__(self) -> None:
        self.hand = self.honest
        self.station, self.switch = self.lab.namespace("station"), self.lab.namespace("switch")
        if not self.direct:
            self._lay((self.switch, "p0"), "02-00-00-00-00-01")
            self.lab.bridge(self.switch, "br0", ["p0"])

    def _lay(self, end: tuple[str, str], mac: str) -> None:
        """Lay the station's own cable."""
        self.lab.veth((self.station, "eth0"), end, macs=(STATION_MAC, mac))
        if self.own:
            self.lab.address(self.station, "eth0", f"{OWN}/24")

    # Who is there

    def device(self, name: str, last: int, *, direct: bool = False, address: str = "") -> Device:
        """Add a planned device with the address 192.0.2.<last>, or another one that was typed into it instead."""
        made = self._planned(name, last, direct=direct)
        self.lab.arp_strict(made.namespace)
        self.lab.address(made.namespace, "eth0", f"{address or made.address}/24")
        return made

    def odd(self, name: str, last: int, *, direct: bool = False, **faults: Any) -> Device:
        """Add a planned device that misbehaves: see `responder`."""
        made = self._planned(name, last, direct=direct)
        host = {"address": made.address, "mac": made.mac, **faults}
        respond(self.lab, made.namespace, "eth0", host, lifetime=400.0, seed=last)
        return made

    def with_two_ports(self, name: str, last: int, *, direct: bool = False) -> Device:
        """Add a planned device with a built-in switch of two ports; the cable is in the first."""
        made = self._planned(name, last, direct=direct, jack_mac=f"02-00-00-00-02-{last:02X}")
        made.jacks = ("eth0", "eth1")
        self.lab.bridge(made.namespace, "br0", ["eth0"])
        self.lab.mac(made.namespace, "br0", made.mac)
        self.lab.arp_strict(made.namespace)
        self.lab.address(made.namespace, "br0", f"{made.address}/24")
        return made

    def second_cable(self, device: Device) -> None:
        """Lay a cable to the second port of such a device; it is not plugged in yet, since that would be a ring."""
        self.plug(device.namespace, f"02-00-00-00-03-{len(self.devices):02X}", "eth1")
        self.lab.down(device.namespace, "eth1")
        self.lab.run(device.namespace, ["ip", "link", "set", "eth1", "master", "br0"])

    def chained(self, name: str, last: int, to: Device) -> Device:
        """Add a planned device that hangs at the second port of a device with two."""
        made = Device(name, f"192.0.2.{last}", self.lab.namespace(name), _mac(last))
        self.lab.veth((made.namespace, "eth0"), (to.namespace, "eth1"), macs=(made.mac, f"02-00-00-00-03-{last:02X}"))
        self.lab.run(to.namespace, ["ip", "link", "set", "eth1", "master", "br0"])
        self.lab.arp_strict(made.namespace)
        self.lab.address(made.namespace, "eth0", f"{made.address}/24")
        self.devices.append(made)
        return made

    def _planned(self, name: str, last: int, *, direct: bool, jack_mac: str = "") -> Device:
        made = Device(name, f"192.0.2.{last}", self.lab.namespace(name), _mac(last))
        if direct:
            self._lay((made.namespace, "eth0"), jack_mac or made.mac)
        else:
            self.plug(made.namespace, jack_mac or made.mac)
        self.devices.append(made)
        return made

    def stranger(self, last: int, mac: str) -> str:
        """Add somebody whom the plan does not know, with the address 192.0.2.<last>."""
        namespace = self.lab.namespace("stranger")
        self.plug(namespace, mac)
        self.lab.address(namespace, "eth0", f"192.0.2.{last}/24")
        return namespace

    def plug(self, namespace: str, mac: str, interface: str = "eth0") -> None:
        """Lay a cable from a namespace to the switch."""
        number = len(self.lab.run(self.switch, ["ip", "-o", "link"]).stdout.splitlines())
        port = f"p{number}"
        self.lab.veth((namespace, interface), (self.switch, port), macs=(mac, f"02-00-00-00-01-{number:02X}"))
        self.lab.run(self.switch, ["ip", "link", "set", port, "master", "br0"])

    # The run

    def plan(self, extra: str = "", *, macs: bool = True) -> Path:
        """Write the plan of all planned devices."""
        rows = (device.row + (f'  mac = "{device.mac}"\n' if macs else "") for device in self.devices)
        folder = self.folder / "plan"
        folder.mkdir(exist_ok=True)
        (folder / "plan.toml").write_text(PLAN + "".join(rows) + extra, encoding="utf-8")
        return folder

    def listen(self) -> None:
        """Begin to keep what passes at the station's end of its cable."""
        self.listener = Listener(self.lab, self.station, "eth0", self.folder / "heard.pcap")

    def start(self, *words: str, command: str = "prove", keys: bool = False, wrapper: Sequence[str] = ()) -> Running:
        """Start proving the plan in the station's namespace."""
        if not (self.folder / "plan").exists():
            self.plan()
        by = ("--hands-free",) if command == "prove" and not keys else ()
        common = (command, "plan", "-i", "eth0", "--permit", "laboratory", "--format", "json", "--record", "run.jsonl")
        self.running = Running(
            self.lab, self.station, [*common, *by, *words], self.folder, hand=self.hand, keys=keys, wrapper=wrapper
        )
        return self.running

    def verify(self) -> Ended:
        """What `netcheck verify` says of the record."""
        return Running(self.lab, self.station, ["verify", "run.jsonl"], self.folder).end()

    def honest(self, port: str, text: str) -> None:
        """A hand that does what it is told at the port that is named, a moment later."""
        name, _, number = port.partition("/cpu:")
        device = next((device for device in self.devices if device.name == name), None)
        if device is None:
            return
        time.sleep(MOVES_AFTER)
        jack = int(number) - 1
        if text.startswith("Pull"):
            self.pull(device, jack)
        elif text.startswith("Plug"):
            self.plug_in(device, jack)
        elif jack:
            self.move(device, jack)
            if text.startswith("Move") and self.running is not None:
                self.running.press()

    def pull(self, device: Device, jack: int = 0) -> None:
        """Pull the cable of a device's port."""
        self.lab.down(device.namespace, device.jacks[jack])

    def plug_in(self, device: Device, jack: int = 0) -> None:
        """Put it back."""
        self.lab.up(device.namespace, device.jacks[jack])

    def move(self, device: Device, jack: int) -> None:
        """Move the cable to another port of the device."""
        for number in range(len(device.jacks)):
            self.pull(device, number)
        self.plug_in(device, jack)


def _mac(last: int) -> str:
    return f"00-00-5E-00-53-{last:02X}"
