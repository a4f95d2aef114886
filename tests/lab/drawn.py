"""Sites of the truth campaign built again from namespaces: cabling, fault, device and technician are those of the rig.

Only sites without loss, jitter or a blocked switch port can be built, since the laboratory's kernels have no netem.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from netcheck.rig.campaign.lots import Fault
from netcheck.rig.campaign.sites import Site, site_of
from netcheck.rig.devices import Faults, VirtualDevice
from netcheck.rig.technicians import Habit
from tests.lab.hall import MOVES_AFTER, Device, Hall
from tests.lab.netns import Lab
from tests.lab.plants import IMPOSTOR_MAC, router_for_all, second_interface
from tests.lab.running import Ended

PATIENCE = ("--only", "alpha/cpu:1", "--patience", "15")
AGAIN_AFTER = 7.0  # seconds after which a cable that is still asked for is pulled again


def prove(seed: int, lab: Lab, folder: Path) -> Ended:
    """Build the site of a seed from namespaces, prove its port there, and return how that ended."""
    site = site_of(seed)
    assert len(site.story) == 4, "a cable of the laboratory loses and delays nothing"
    hall = Hall(lab, folder, own=bool(site.rig.ways[0].addresses), direct=site.settings.direct)
    alpha, *others = _devices(hall, site)
    stranger = _go_wrong(hall, site, alpha)
    hall.hand = Hand(hall, site, alpha, others[0] if others else None, stranger).told
    hall.plan(macs=site.truth.known)
    direct = ("--direct",) if site.settings.direct else ()
    return hall.start(*PATIENCE, *direct, keys=site.hand.keys).end()


def _devices(hall: Hall, site: Site) -> list[Device]:
    """Whoever is planned, the one under test first."""
    fault, others = site.truth.fault, []
    alpha = _alpha(hall, site)
    names = dict.fromkeys(target.device for target in site.aim.targets if target.device != "alpha")
    for name in names:
        if name.startswith("down"):
            others.append(hall.chained(name, 40 + int(name[4:]), alpha))
            others[-1].behind = "" if fault is Fault.UNKNOWN_CHAIN else "alpha/cpu:2"
        else:
            swapped = fault is Fault.SWAPPED and name == "n1"
            others.append(hall.device(name, 20 + int(name[1:]), address="192.0.2.20" if swapped else ""))
    return [alpha, *others]


def _alpha(hall: Hall, site: Site) -> Device:
    direct, fault, host = site.settings.direct, site.truth.fault, site.hand.right.host
    assert isinstance(host, VirtualDevice)
    odd = _as_host(host.faults)
    if odd:
        return hall.odd("alpha", 20, direct=direct, **odd)
    if any(target.device.startswith("down") for target in site.aim.targets):
        return hall.with_two_ports("alpha", 20, direct=direct)
    typed = {Fault.SWAPPED: "192.0.2.21", Fault.STALE: "192.0.2.77"}.get(fault, "")
    alpha = hall.device("alpha", 20, direct=direct, address=typed)
    if not host.faults.echo:
        hall.lab.echo_blocked(alpha.namespace)
    if host.dead:
        hall.pull(alpha)
    return alpha


def _as_host(faults: Faults) -> dict[str, Any]:
    """The faults that need a device in user space, in the words of `responder`."""
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


def _go_wrong(hall: Hall, site: Site, alpha: Device) -> str:
    """What else is wrong at the site; returns the namespace of whoever is there only while the cable is out."""
    match site.truth.fault:
        case Fault.SECOND_ALWAYS:
            hall.stranger(20, IMPOSTOR_MAC)
        case Fault.SECOND_OUT:
            stranger = hall.stranger(20, IMPOSTOR_MAC)
            hall.lab.down(stranger, "eth0")
            return stranger
        case Fault.PROXY:
            router_for_all(hall)
        case Fault.NAMEPLATE:
            alpha.mac = "00-00-5E-00-53-77"
        case Fault.WEAK:
            second_interface(hall, alpha)
    return ""


@dataclass
class Hand:
    """Does at the cables of the laboratory what the site's technician does at the rig's."""

    hall: Hall
    site: Site
    alpha: Device
    other: Device | None
    stranger: str = ""
    times: int = 0

    def told(self, port: str, text: str) -> None:
        """Do what is asked for, or what the habit makes of it; confirm it, if the technician does."""
        time.sleep(MOVES_AFTER)
        if text.startswith("Pull"):
            self.times += 1
            self._pull()
        elif self.site.hand.habit is not Habit.KEEPS or not self.times:
            self._all_in()
        if self.site.hand.keys and self.hall.running is not None:
            self.hall.running.press()

    def _pull(self) -> None:
        first = self.times == 1
        match self.site.hand.habit:
            case Habit.NONE:
                return
            case Habit.WRONG:
                self._other(False)
            case Habit.MENDED if first:
                self._other(False)
                time.sleep(AGAIN_AFTER)
                self._other(True)
                time.sleep(1.5)
                self._right(False)
            case Habit.STATION if first:
                self.hall.lab.down(self.hall.switch, "p0")
            case Habit.ALWAYS_STATION:
                self.hall.lab.down(self.hall.switch, "p0")
            case Habit.SHORT if first:
                self._for_a_moment()
                if self.hall.running and not self.hall.running.wait_for(_asks, AGAIN_AFTER, self.hall.running.lines):
                    self._right(False)  # it is still asked for
            case Habit.ALWAYS_SHORT:
                self._for_a_moment()
            case Habit.TWICE if first:
                self._for_a_moment(2.0)
                time.sleep(1.5)
                self._right(False)
            case _:
                self._right(False)

    def _for_a_moment(self, seconds: float = 1.2) -> None:
        self._right(False)
        time.sleep(seconds)
        self._right(True)

    def _right(self, plugged: bool) -> None:
        (self.hall.plug_in if plugged else self.hall.pull)(self.alpha)
        if self.stranger:
            (self.hall.lab.down if plugged else self.hall.lab.up)(self.stranger, "eth0")

    def _other(self, plugged: bool) -> None:
        """The neighbour's cable, where the rig's technician takes that one, else one that leads nowhere."""
        if self.other is not None and self.site.hand.other.host is not None:
            (self.hall.plug_in if plugged else self.hall.pull)(self.other)

    def _all_in(self) -> None:
        host = self.site.hand.right.host
        if not (isinstance(host, VirtualDevice) and host.dead):
            self._right(True)
        self._other(True)
        if not self.site.settings.direct:
            self.hall.lab.up(self.hall.switch, "p0")


def _asks(line: str) -> bool:
    return line.startswith("do ")
