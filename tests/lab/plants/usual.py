"""Plants of ordinary devices. Each function builds one and may replace the technician."""

from __future__ import annotations

from collections.abc import Callable

from tests.lab.plant import Device, Plant
from tests.lab.technician import Request

IMPOSTOR_MAC = "00-00-5E-00-53-99"


def pair(plant: Plant) -> tuple[Device, Device]:
    """Two healthy devices on the switch."""
    return plant.device("alpha", 20), plant.device("beta", 21)


def healthy(plant: Plant) -> None:
    """Two healthy devices without any fault."""
    pair(plant)


def healthy_direct(plant: Plant) -> None:
    """One healthy device at the end of the station's cable."""
    plant.device("alpha", 20, direct=True)


def absent(plant: Plant) -> None:
    """The device under test has no power."""
    alpha, _ = pair(plant)
    switch_off(plant, alpha)


def switch_off(plant: Plant, device: Device) -> None:
    """Switch off the power of a device: its link is down, and plugging its cable in does not change that."""
    device.powered = False
    plant.pull(device)


def two_owners(plant: Plant) -> None:
    """Another host has the same address from the beginning."""
    pair(plant)
    plant.stranger(20, IMPOSTOR_MAC)


def on_pull(plant: Plant, then: Callable[[], None]) -> None:
    """Let the technician obey, and call *then* after every pull."""

    def technician(request: Request) -> None:
        plant.obey(request)
        if request.pulls:
            then()

    plant.technician = technician


def instead_of_pulling(plant: Plant, act: Callable[[], None]) -> None:
    """Call *act* at every request to pull, and do nothing at any other request."""
    plant.technician = lambda request: act() if request.pulls else None


def owner_with_the_cable_out(plant: Plant) -> None:
    """Another host takes the address over as soon as the device's cable is out."""
    pair(plant)
    stranger = plant.stranger(20, IMPOSTOR_MAC)
    plant.lab.down(stranger, "eth0")
    on_pull(plant, lambda: plant.lab.up(stranger, "eth0"))


def uplink_behind_the_switch(plant: Plant) -> None:
    """The cable between two switches is pulled instead: the station keeps its carrier, and all devices fall silent."""
    far = plant.lab.namespace("far")
    plant.lab.veth((plant.switch, "trunk"), (far, "trunk"))
    plant.lab.run(plant.switch, ["ip", "link", "set", "trunk", "master", "br0"])
    plant.lab.bridge(far, "br0", ["trunk"])
    near, plant.switch = plant.switch, far
    pair(plant)
    plant.switch = near
    instead_of_pulling(plant, lambda: plant.lab.down(far, "trunk"))


def own_cable(plant: Plant) -> None:
    """The station's own cable is pulled instead, and stays out."""
    pair(plant)
    instead_of_pulling(plant, lambda: plant.lab.down(plant.switch, "p0"))


def never_pulled(plant: Plant) -> None:
    """No cable is pulled."""
    pair(plant)
    plant.technician = None


def wrong_cable(plant: Plant) -> None:
    """The neighbour's cable is pulled instead, and is left out."""
    _, beta = pair(plant)
    instead_of_pulling(plant, lambda: plant.pull(beta))


def never_returns(plant: Plant) -> None:
    """The cable is not put back."""
    alpha, _ = pair(plant)
    instead_of_pulling(plant, lambda: plant.pull(alpha))


def swapped_pair(plant: Plant) -> None:
    """Each of two devices has the address of the other."""
    plant.device("alpha", 20, address="192.0.2.21")
    plant.device("beta", 21, address="192.0.2.20")


def wrong_nameplate(plant: Plant) -> None:
    """The plan names another MAC than the installed device has."""
    alpha, _ = pair(plant)
    alpha.mac = "00-00-5E-00-53-77"


def echo_ignored(plant: Plant) -> None:
    """The device answers ARP but no echo request."""
    alpha, _ = pair(plant)
    plant.lab.echo_blocked(alpha.namespace)


def no_other_device(plant: Plant) -> None:
    """No other device answers on the switch, so there is no control address."""
    plant.device("alpha", 20)


def gateway_alone(plant: Plant) -> None:
    """The gateway is the only control address."""
    plant.device("alpha", 20)
    plant.stranger(254, "00-00-5E-00-53-FE")


def proxy_arp(plant: Plant) -> None:
    """The device is absent and a router answers ARP for its address (proxy ARP)."""
    alpha, _ = pair(plant)
    switch_off(plant, alpha)
    router_for_all(plant)


def router_for_all(plant: Plant) -> None:
    """Add a router that answers ARP for every address to which it has a route."""
    router = plant.stranger(254, "00-00-5E-00-53-FE")
    beyond = plant.lab.namespace("beyond")
    plant.lab.veth((router, "eth1"), (beyond, "eth0"))
    plant.lab.address(router, "eth1", "198.51.100.1/24")
    plant.lab.run(router, ["ip", "route", "add", "192.0.2.16/28", "dev", "eth1"])
    plant.lab.run(router, ["ip", "route", "add", "192.0.2.252/31", "dev", "eth1"])
    plant.lab.proxy_arp(router, "eth0")


def weak_host(plant: Plant) -> None:
    """A device with two interfaces on one segment answers for both addresses on either one (the kernel's default)."""
    alpha, _ = pair(plant)
    second_interface(plant, alpha)


def second_interface(plant: Plant, alpha: Device) -> None:
    """Give a device a second interface on the segment; each interface answers for both addresses."""
    plant.plug(alpha.namespace, "00-00-5E-00-53-2A", "eth1")
    plant.lab.address(alpha.namespace, "eth1", "192.0.2.22/24")
    plant.lab.sysctl(alpha.namespace, {"net.ipv4.conf.all.arp_ignore": 0, "net.ipv4.conf.all.arp_announce": 0})


def borrowed_is_owned(plant: Plant) -> None:
    """Another host has the address that the station would borrow."""
    pair(plant)
    plant.stranger(240, IMPOSTOR_MAC)


def forwards_late(plant: Plant) -> None:
    """The cable is plugged in on request, but the switch port forwards 20 s later.

    Spanning tree listens and learns first.
    """
    alpha, _ = pair(plant)
    spanning_tree = ["type", "bridge", "stp_state", "1", "forward_delay", "1000"]
    plant.lab.run(plant.switch, ["ip", "link", "set", "br0", *spanning_tree])
    plant.pull(alpha)


def interface_removed(plant: Plant) -> None:
    """The station's interface disappears during the run, like a USB adapter that is unplugged."""
    pair(plant)
    instead_of_pulling(plant, lambda: plant.lab.remove(plant.station, "eth0"))


def owner_behind_another_interface(plant: Plant) -> None:
    """The cable is direct; while it is out, a host behind the station's other interface has the address."""
    plant.device("alpha", 20, direct=True)
    other = plant.lab.namespace("office")
    plant.lab.veth((plant.station, "eth9"), (other, "eth0"), macs=("00-00-5E-00-53-02", IMPOSTOR_MAC))
    plant.lab.address(plant.station, "eth9", "192.0.2.2/24")
    plant.lab.address(other, "eth0", "192.0.2.20/24")
    plant.lab.down(other, "eth0")
    on_pull(plant, lambda: plant.lab.up(other, "eth0"))
