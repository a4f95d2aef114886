"""Builds a small plant from network namespaces: a station, a switch or a direct cable, devices, and a technician.

The command runs in the station's namespace as a user runs it. A thread reads its plain lines, and the technician obeys
them: to pull a cable, the device's end of the cable is taken down. An independent listener at the station's end of the
cable records every frame.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.lab.commands import Command, Result
from tests.lab.listener import Listener
from tests.lab.netns import Lab
from tests.lab.responder import respond
from tests.lab.technician import Action, Request, Technician
from tests.plans import BENCH

STATION_MAC = "00-00-5E-00-53-01"
OWN, BORROWED = "192.0.2.1", "192.0.2.240"
MOVES = 1.8  # seconds for moving a cable from one connector to the next
REACTION = 0.7  # seconds from a request until the technician's hand has moved the cable


@dataclass
class Device:
    """A planned device in its own namespace; `connectors` are the interfaces of its ports in the plan's order."""

    name: str
    address: str
    namespace: str
    mac: str
    connectors: tuple[str, ...] = ("eth0",)
    behind: str = ""
    powered: bool = True

    @property
    def row(self) -> str:
        """The device's rows in the plan."""
        ports = "".join(f'"{number + 1}", ' for number in range(len(self.connectors)))
        return (
            f'[[device]]\nname = "{self.name}"\n  [[device.interface]]\n  name = "cpu"\n  subnet = "line"\n'
            f'  address = "{self.address}"\n  ports = [{ports}]\n'
            + (f'  behind = "{self.behind}"\n' if self.behind else "")
        )


@dataclass
class Plant:
    """The plant.

    `own`: the station's operating system has an address in the subnet; otherwise netcheck borrows one. `direct`: the
    station's cable leads to a device instead of a switch. `technician` obeys the requests of the run; None moves no
    cable.
    """

    lab: Lab
    folder: Path
    own: bool = True
    direct: bool = False
    technician: Technician | None = None
    devices: list[Device] = field(default_factory=list)
    command: Command | None = None
    environment: dict[str, str] = field(default_factory=dict)  # added to the environment of the command
    beyond: dict[str, str] = field(default_factory=dict)  # the MACs of further planned addresses, in `extra`
    extra: str = ""  # rows of the plan after the rows of the devices
    wrapper: tuple[str, ...] = ()  # words in front of every command
    keyed: bool = False  # the technician presses Enter after every action
    listener: Listener | None = None

    def __post_init__(self) -> None:
        self.technician = self.obey
        self.station, self.switch = self.lab.namespace("station"), self.lab.namespace("switch")
        if not self.direct:
            self._lay((self.switch, "p0"), "02-00-00-00-00-01")
            self.lab.bridge(self.switch, "br0", ["p0"])

    def _lay(self, end: tuple[str, str], mac: str) -> None:
        """Connect the station's own cable."""
        self.lab.veth((self.station, "eth0"), end, macs=(STATION_MAC, mac))
        if self.own:
            self.lab.address(self.station, "eth0", f"{OWN}/24")

    # Devices and cables

    def device(self, name: str, last: int, *, direct: bool = False, address: str = "") -> Device:
        """Add a planned device with the planned address 192.0.2.<last>; *address* is a different one typed into it."""
        made = self._planned(name, last, direct=direct)
        self.lab.arp_strict(made.namespace)
        self.lab.address(made.namespace, "eth0", f"{address or made.address}/24")
        return made

    def odd(self, name: str, last: int, *, direct: bool = False, **faults: Any) -> Device:
        """Add a planned device with faults; see `responder`."""
        made = self._planned(name, last, direct=direct)
        host = {"address": made.address, "mac": made.mac, **faults}
        respond(self.lab, made.namespace, "eth0", host, lifetime=400.0, seed=last)
        return made

    def with_two_ports(self, name: str, last: int, *, direct: bool = False) -> Device:
        """Add a planned device with a built-in switch of two ports and the cable in the first."""
        made = self._planned(name, last, direct=direct, connector_mac=f"02-00-00-00-02-{last:02X}")
        made.connectors = ("eth0", "eth1")
        self.lab.bridge(made.namespace, "br0", ["eth0"])
        self.lab.mac(made.namespace, "br0", made.mac)
        self.lab.arp_strict(made.namespace)
        self.lab.address(made.namespace, "br0", f"{made.address}/24")
        return made

    def second_cable(self, device: Device) -> None:
        """Add a cable to the second port of such a device; it is not plugged in, because it would close a ring."""
        self.plug(device.namespace, f"02-00-00-00-03-{len(self.devices):02X}", "eth1")
        self.lab.down(device.namespace, "eth1")
        self.lab.run(device.namespace, ["ip", "link", "set", "eth1", "master", "br0"])

    def chained(self, name: str, last: int, to: Device) -> Device:
        """Add a planned device behind the second port of a device with two ports."""
        made = Device(name, f"192.0.2.{last}", self.lab.namespace(name), _mac(last))
        self.lab.veth((made.namespace, "eth0"), (to.namespace, "eth1"), macs=(made.mac, f"02-00-00-00-03-{last:02X}"))
        self.lab.run(to.namespace, ["ip", "link", "set", "eth1", "master", "br0"])
        self.lab.arp_strict(made.namespace)
        self.lab.address(made.namespace, "eth0", f"{made.address}/24")
        self.devices.append(made)
        return made

    def _planned(self, name: str, last: int, *, direct: bool, connector_mac: str = "") -> Device:
        made = Device(name, f"192.0.2.{last}", self.lab.namespace(name), _mac(last))
        if direct:
            self._lay((made.namespace, "eth0"), connector_mac or made.mac)
        else:
            self.plug(made.namespace, connector_mac or made.mac)
        self.devices.append(made)
        return made

    def stranger(self, last: int, mac: str, *, prefix: int = 24) -> str:
        """Add a host that is not in the plan, with the address 192.0.2.<last>; return its namespace."""
        namespace = self.lab.namespace("stranger")
        self.plug(namespace, mac)
        self.lab.address(namespace, "eth0", f"192.0.2.{last}/{prefix}")
        return namespace

    def plug(self, namespace: str, mac: str, interface: str = "eth0") -> None:
        """Connect an interface of a namespace to the switch."""
        number = len(self.lab.run(self.switch, ["ip", "-o", "link"]).stdout.splitlines())
        port = f"p{number}"
        self.lab.veth((namespace, interface), (self.switch, port), macs=(mac, f"02-00-00-00-01-{number:02X}"))
        self.lab.run(self.switch, ["ip", "link", "set", port, "master", "br0"])

    @property
    def macs(self) -> dict[str, str]:
        """The MAC at each planned address."""
        return self.beyond | {device.address: device.mac for device in self.devices}

    # The run

    def plan(self, *, macs: bool = True) -> Path:
        """Write the plan of all planned devices."""
        rows = (device.row + (f'  mac = "{device.mac}"\n' if macs else "") for device in self.devices)
        folder = self.folder / "plan"
        folder.mkdir(exist_ok=True)
        (folder / "plan.toml").write_text(BENCH + "".join(rows) + self.extra, encoding="utf-8")
        return folder

    def listen(self) -> None:
        """Start to record every frame at the station's end of its cable."""
        self.listener = Listener(self.lab, self.station, "eth0", self.folder / "heard.pcap")

    def start(self, *words: str, command: str = "prove", keys: bool = False, wrapper: Sequence[str] = ()) -> Command:
        """Start `prove` or `walk` in the station's namespace; `prove` runs hands-free unless *keys* is True."""
        if not (self.folder / "plan").exists():
            self.plan()
        self.keyed = keys
        mode = ("--hands-free",) if command == "prove" and not keys else ()
        common = (command, "plan", "-i", "eth0", "--permit", "laboratory", "--format", "json", "--record", "run.jsonl")
        self.command = Command(
            self.lab, self.station, [*common, *mode, *words], self.folder,
            technician=self.technician, keys=keys, wrapper=[*self.wrapper, *wrapper], environment=self.environment,
        )  # fmt: skip
        return self.command

    def verify(self) -> Result:
        """Run `netcheck verify` on the record."""
        words = ["verify", "run.jsonl"]
        return Command(self.lab, self.station, words, self.folder, wrapper=self.wrapper).end()

    # The technician

    def at_return(self, act: Callable[[Device], None]) -> None:
        """Let the technician obey, but call *act* for every request to plug a cable in again."""
        pulled: set[str] = set()

        def technician(request: Request) -> None:
            device = self.planned(request)
            if request.plugs and device is not None and request.port in pulled:
                self.pause(REACTION)
                act(device)
                return
            if request.pulls:
                pulled.add(request.port)
            self.obey(request)

        self.technician = technician

    def obey(self, request: Request) -> None:
        """Obey the request at its port, and press Enter afterwards in a keyed run."""
        device = self.planned(request)
        if device is None:
            return
        number = int(request.port.rpartition(":")[2]) - 1
        self.pause(REACTION)
        match request.action:
            case Action.PULL:
                self.pull(device, number)
            case Action.MOVE:
                self.pull(device, 0 if number else 1)
                self.pause(MOVES)
                self.move(device, number)
            case Action.PLUG if not number:
                self.plug_in(device)
            case Action.PLUG:
                self.move(device, number)
            case _:
                return
        self.confirm()

    def planned(self, request: Request) -> Device | None:
        """Return the planned device of a request's port."""
        return next((device for device in self.devices if device.name == request.device), None)

    def pause(self, seconds: float) -> None:
        """Wait for this long, or until the command ends."""
        if self.command is not None:
            self.command.pause(seconds)

    def confirm(self) -> None:
        """Press Enter if the run reads keys."""
        if self.keyed and self.command is not None:
            self.command.press()

    def pull(self, device: Device, number: int = 0) -> None:
        """Pull the cable of a device's connector."""
        self.lab.down(device.namespace, device.connectors[number])

    def plug_in(self, device: Device, number: int = 0) -> None:
        """Plug the cable of a device's connector in; the link of a device without power stays down."""
        if device.powered:
            self.lab.up(device.namespace, device.connectors[number])

    def move(self, device: Device, number: int) -> None:
        """Move the cable to another connector of the device."""
        for other in range(len(device.connectors)):
            self.pull(device, other)
        self.plug_in(device, number)


def _mac(last: int) -> str:
    return f"00-00-5E-00-53-{last:02X}"
