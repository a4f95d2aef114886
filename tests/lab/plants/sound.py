"""Plants in which a port deserves a proof although something is unusual. Each function builds one."""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import suppress

from tests.lab.netns import LabError
from tests.lab.plant import Device, Plant
from tests.lab.plants.usual import pair
from tests.lab.technician import Request

SECOND_MAC = "00-00-5E-00-53-2A"
SECOND_INTERFACE = """  [[device.interface]]
  name = "hmi"
  subnet = "line"
  address = "192.0.2.22"
  ports = ["1"]
"""


def boots_after_each_plug(seconds: float) -> Callable[[Plant], None]:
    """Return a builder of a device that is powered over its cable and boots for some seconds after each plug."""

    def build(plant: Plant) -> None:
        pair(plant)

        def plug_in(device: Device) -> None:
            plant.confirm()
            plant.pause(seconds)
            plant.plug_in(device)

        plant.at_return(plug_in)

    return build


def unlisted_control(plant: Plant) -> None:
    """The device has a second address that is not in the plan: the address that the run expects to be free."""
    alpha, _ = pair(plant)
    plant.lab.address(alpha.namespace, "eth0", "192.0.2.253/24")


def two_interfaces(plant: Plant) -> None:
    """One device with two interfaces behind one direct cable."""
    alpha = plant.device("alpha", 20, direct=True)
    second = plant.lab.namespace("second")  # a separate namespace, so that each interface answers with its own MAC
    plant.lab.run(
        alpha.namespace,
        ["ip", "link", "add", "mv0", "link", "eth0", "netns", second, "type", "macvlan", "mode", "bridge"],
    )
    plant.lab.mac(second, "mv0", SECOND_MAC)
    plant.lab.up(second, "mv0")
    plant.lab.address(second, "mv0", "192.0.2.22/24")
    plant.extra, plant.beyond = SECOND_INTERFACE, {"192.0.2.22": SECOND_MAC}


def interface_down_for_a_moment(plant: Plant) -> None:
    """The station's interface is switched off for two seconds while the replies are counted."""
    pair(plant)

    def switch_off_and_on() -> None:
        if plant.command is not None and plant.command.wait_for(lambda line: line.startswith("heard "), 30):
            plant.pause(1.0)
            plant.lab.down(plant.station, "eth0")
            plant.pause(2.0)
            with suppress(LabError):  # the command, and with it the laboratory, may have ended
                plant.lab.up(plant.station, "eth0")

    in_background(plant, switch_off_and_on)


def in_background(plant: Plant, act: Callable[[], None]) -> None:
    """Let the technician obey, and run *act* in a new thread from the first request on."""
    thread = threading.Thread(target=act, daemon=True)

    def technician(request: Request) -> None:
        if not thread.ident:
            thread.start()
        plant.obey(request)

    plant.technician = technician


def many_absent(plant: Plant) -> None:
    """Forty planned devices are not connected, so that the watch sends broadcast requests for all of them."""
    pair(plant)
    for last in range(100, 140):
        plant.devices.append(Device(f"d{last}", f"192.0.2.{last}", "", f"00-00-5E-00-53-{last:02X}"))


def exchanged(plant: Plant) -> None:
    """Two healthy devices; the test exchanges their addresses between two runs of one record."""
    pair(plant)
