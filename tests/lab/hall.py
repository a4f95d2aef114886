"""A small plant on real kernels: a station, a switch or direct cables, devices in namespaces, and a hand on the cables.

The command runs in the station's namespace as a user would run it, its plain lines are read as they come, and the hand
does what they say: pulling a cable is taking the device's end of it down.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.lab.netns import Lab

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


@dataclass
class Device:
    """A planned device in a namespace of its own; `jack` is the interface whose cable is pulled."""

    name: str
    address: str
    namespace: str
    mac: str
    jack: str = "eth0"


@dataclass
class Hall:
    """The plant and what was said during a run."""

    lab: Lab
    folder: Path
    station: str
    switch: str
    devices: list[Device] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    hand: Callable[[str, str], None] | None = None  # told (port, text) of every `do` line
    moves_after: float = 0.7

    @classmethod
    def built(cls, lab: Lab, folder: Path, *, own_address: bool = True, direct: bool = False) -> Hall:
        """A station on a switch; with `direct` without one, the first device then being at the cable's far end."""
        station = lab.namespace("station")
        switch = lab.namespace("switch")
        hall = cls(lab, folder, station, switch)
        if not direct:
            lab.veth((station, "eth0"), (switch, "p0"), macs=(STATION_MAC, "02-00-00-00-00-01"))
            lab.bridge(switch, "br0", ["p0"])
        hall._own = own_address
        if own_address and not direct:
            lab.address(station, "eth0", "192.0.2.1/24")
        return hall

    _own: bool = True

    def device(self, name: str, last: int, *, mac: str = "", direct: bool = False, address: str = "") -> Device:
        """Add a planned device with the address 192.0.2.<last>, on the switch or at the station's own cable."""
        mac = mac or f"00-00-5E-00-53-{last:02X}"
        namespace = self.lab.namespace(name)
        if direct:
            self.lab.veth((self.station, "eth0"), (namespace, "eth0"), macs=(STATION_MAC, mac))
            if self._own:
                self.lab.address(self.station, "eth0", "192.0.2.1/24")
        else:
            self.plug(namespace, mac)
        self.lab.arp_strict(namespace)
        made = Device(name, f"192.0.2.{last}", namespace, mac)
        self.lab.address(namespace, "eth0", f"{address or made.address}/24")
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
        port = f"p{len(self._ports())}"
        self.lab.veth(
            (namespace, interface), (self.switch, port), macs=(mac, f"02-00-00-00-01-{len(self._ports()):02X}")
        )
        self.lab.run(self.switch, ["ip", "link", "set", port, "master", "br0"])

    def _ports(self) -> list[str]:
        return [line.split(":")[1] for line in self.lab.run(self.switch, ["ip", "-o", "link"]).stdout.splitlines()]

    def plan(self, extra: str = "", macs: bool = True) -> Path:
        """Write the plan of all planned devices."""
        text = PLAN
        for device in self.devices:
            text += f'[[device]]\nname = "{device.name}"\n  [[device.interface]]\n  name = "cpu"\n  subnet = "line"\n'
            text += f'  address = "{device.address}"\n' + (f'  mac = "{device.mac}"\n' if macs else "")
        folder = self.folder / "plan"
        folder.mkdir(exist_ok=True)
        (folder / "plan.toml").write_text(text + extra, encoding="utf-8")
        return folder

    # The run

    def prove(self, *words: str, plan: Path | None = None, timeout: float = 200) -> tuple[int, dict[str, Any]]:
        """Run `netcheck prove --hands-free --format json` and return its exit code and its JSON."""
        command = [
            *(sys.executable, "-m", "netcheck", "prove", str(plan or self.plan()), "-i", "eth0", "--hands-free"),
            *("--permit", "laboratory", "--format", "json", "--record", str(self.folder / "run.jsonl"), *words),
        ]
        environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
        process = self.lab.start(
            self.station, command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            env=environment, cwd=self.folder,
        )  # fmt: skip
        reader = threading.Thread(target=self._listen, args=(process,), daemon=True)
        reader.start()
        assert process.stdout is not None
        watchdog = threading.Timer(timeout, process.kill)
        watchdog.start()
        out = process.stdout.read().decode()
        code = process.wait()
        watchdog.cancel()
        reader.join(5)
        return code, json.loads(out) if out.strip() else {}

    def _listen(self, process: subprocess.Popen[bytes]) -> None:
        assert process.stderr is not None
        for raw in process.stderr:
            line = raw.decode(errors="replace").rstrip()
            self.lines.append(line)
            if line.startswith("do ") and self.hand is not None:
                port, _, text = line[3:].strip().partition(": ")
                time.sleep(self.moves_after)
                self.hand(port, text)

    def honest(self, port: str, text: str) -> None:
        """A hand that does what it is told at the device that is named."""
        device = next(device for device in self.devices if port.startswith(device.name + "/"))
        if text.startswith("Pull"):
            self.pull(device)
        elif text.startswith(("Plug", "Move")):
            self.plug_in(device)

    def pull(self, device: Device) -> None:
        """Pull a device's cable."""
        self.lab.down(device.namespace, device.jack)

    def plug_in(self, device: Device) -> None:
        """Put it back."""
        self.lab.up(device.namespace, device.jack)
