"""Builds sites of the truth campaign from namespaces.

Each site has the cabling, fault, device and technician of the site on the rig.

Sites with loss, jitter or a blocked switch port cannot be built, because the laboratory's kernels have no netem.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from netcheck.rig.campaign.distribution import Fault
from netcheck.rig.campaign.sites import DrawnSite, site_of
from netcheck.rig.devices import Faults, VirtualDevice
from netcheck.rig.technicians import Habit
from tests.lab.commands import Result
from tests.lab.netns import Lab
from tests.lab.plant import REACTION, Device, Plant
from tests.lab.plants.usual import IMPOSTOR_MAC, router_for_all, second_interface
from tests.lab.technician import Request

PATIENCE = ("--only", "alpha/cpu:1", "--patience", "15")
AGAIN_AFTER = 7.0  # seconds after which the cable is pulled again, if the request still stands


def prove(seed: int, lab: Lab, folder: Path) -> Result:
    """Build the site of a seed from namespaces, prove its port, and return the result."""
    site = site_of(seed)
    assert len(site.story) == 4, "a cable of the laboratory loses and delays nothing"
    plant = Plant(lab, folder, own=bool(site.rig.adapters[0].addresses), direct=site.options.direct)
    alpha, *others = _devices(plant, site)
    stranger = _go_wrong(plant, site, alpha)
    plant.technician = HabitOnKernel(plant, site, alpha, others[0] if others else None, stranger).obey
    plant.plan(macs=site.drawn.known)
    direct = ("--direct",) if site.options.direct else ()
    return plant.start(*PATIENCE, *direct, keys=site.hand.keys).end()


def _devices(plant: Plant, site: DrawnSite) -> list[Device]:
    """Add all planned devices, the one under test first."""
    fault, others = site.drawn.fault, []
    alpha = _alpha(plant, site)
    names = dict.fromkeys(target.device for target in site.scope.targets if target.device != "alpha")
    for name in names:
        if name.startswith("down"):
            others.append(plant.chained(name, 40 + int(name[4:]), alpha))
            others[-1].behind = "" if fault is Fault.UNKNOWN_CHAIN else "alpha/cpu:2"
        else:
            swapped = fault is Fault.SWAPPED and name == "n1"
            others.append(plant.device(name, 20 + int(name[1:]), address="192.0.2.20" if swapped else ""))
    return [alpha, *others]


def _alpha(plant: Plant, site: DrawnSite) -> Device:
    direct, fault, host = site.options.direct, site.drawn.fault, site.hand.right.host
    assert isinstance(host, VirtualDevice)
    odd = _as_host(host.faults)
    if odd:
        return plant.odd("alpha", 20, direct=direct, **odd)
    if any(target.device.startswith("down") for target in site.scope.targets):
        return plant.with_two_ports("alpha", 20, direct=direct)
    typed = {Fault.SWAPPED: "192.0.2.21", Fault.STALE: "192.0.2.77"}.get(fault, "")
    alpha = plant.device("alpha", 20, direct=direct, address=typed)
    if not host.faults.echo:
        plant.lab.echo_blocked(alpha.namespace)
    if host.dead:
        plant.pull(alpha)
    return alpha


def _as_host(faults: Faults) -> dict[str, Any]:
    """Return the faults that need a device in user space, with the names of `responder`."""
    echo = {
        "wrong-identifier": faults.wrong_identifier,
        "wrong-payload": faults.wrong_payload,
        "wrong-source": faults.wrong_source,
        "wrong-mac": faults.echo_from,
    }
    odd: dict[str, Any] = {}
    for how, wrong in echo.items():
        if wrong:
            odd["echo"] = how
    if faults.slow:
        odd["delay"] = faults.slow
    if faults.checks_itself:
        odd["self_check"] = 1.0
    return odd


def _go_wrong(plant: Plant, site: DrawnSite, alpha: Device) -> str:
    """Add the site's fault; return the namespace of the host that exists only while the cable is out."""
    match site.drawn.fault:
        case Fault.SECOND_ALWAYS:
            plant.stranger(20, IMPOSTOR_MAC)
        case Fault.SECOND_OUT:
            stranger = plant.stranger(20, IMPOSTOR_MAC)
            plant.lab.down(stranger, "eth0")
            return stranger
        case Fault.PROXY:
            router_for_all(plant)
        case Fault.NAMEPLATE:
            alpha.mac = "00-00-5E-00-53-77"
        case Fault.WEAK:
            second_interface(plant, alpha)
    return ""


@dataclass
class HabitOnKernel:
    """A technician who moves the cables of the laboratory like the site's technician on the rig."""

    plant: Plant
    site: DrawnSite
    alpha: Device
    other: Device | None
    stranger: str = ""
    times: int = 0  # requests to pull so far

    def obey(self, request: Request) -> None:
        """Obey the request in the way of the site's technician, and press Enter if that technician does."""
        self.plant.pause(REACTION)
        if request.pulls:
            self.times += 1
            self._pull()
        elif self.site.hand.habit is not Habit.KEEPS or not self.times:
            self._all_in()
        self.plant.confirm()

    def _pull(self) -> None:
        first = self.times == 1
        match self.site.hand.habit:
            case Habit.NONE:
                return
            case Habit.WRONG:
                self._other(False)
            case Habit.CORRECTED if first:
                self._other(False)
                self.plant.pause(AGAIN_AFTER)
                self._other(True)
                self.plant.pause(1.5)
                self._right(False)
            case Habit.STATION if first:
                self.plant.lab.down(self.plant.switch, "p0")
            case Habit.ALWAYS_STATION:
                self.plant.lab.down(self.plant.switch, "p0")
            case Habit.SHORT if first:
                self._for_a_moment()
                command = self.plant.command
                if command is not None and not command.wait_for(_asks, AGAIN_AFTER, command.line_count):
                    self._right(False)  # the request is still open
            case Habit.ALWAYS_SHORT:
                self._for_a_moment()
            case Habit.TWICE if first:
                self._for_a_moment(2.0)
                self.plant.pause(1.5)
                self._right(False)
            case _:
                self._right(False)

    def _for_a_moment(self, seconds: float = 1.2) -> None:
        self._right(False)
        self.plant.pause(seconds)
        self._right(True)

    def _right(self, plugged: bool) -> None:
        (self.plant.plug_in if plugged else self.plant.pull)(self.alpha)
        if self.stranger:
            (self.plant.lab.down if plugged else self.plant.lab.up)(self.stranger, "eth0")

    def _other(self, plugged: bool) -> None:
        """Move the neighbour's cable, if the rig's technician moves it; otherwise a cable that leads to no device."""
        if self.other is not None and self.site.hand.other.host is not None:
            (self.plant.plug_in if plugged else self.plant.pull)(self.other)

    def _all_in(self) -> None:
        host = self.site.hand.right.host
        if not (isinstance(host, VirtualDevice) and host.dead):
            self._right(True)
        self._other(True)
        if not self.site.options.direct:
            self.plant.lab.up(self.plant.switch, "p0")


def _asks(line: str) -> bool:
    return line.startswith("do ")
