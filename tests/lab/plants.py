"""Plants of ordinary devices and what the hand does there: each function builds one, and may replace the hand."""

from __future__ import annotations

from collections.abc import Callable

from tests.lab.hall import Device, Hall

IMPOSTOR_MAC = "00-00-5E-00-53-99"


def pair(hall: Hall) -> tuple[Device, Device]:
    """Two healthy devices on the switch."""
    return hall.device("alpha", 20), hall.device("beta", 21)


def healthy(hall: Hall) -> None:
    """Nothing is wrong."""
    pair(hall)


def healthy_direct(hall: Hall) -> None:
    """One healthy device at the end of the station's cable."""
    hall.device("alpha", 20, direct=True)


def absent(hall: Hall) -> None:
    """The device is not there."""
    alpha, _ = pair(hall)
    hall.pull(alpha)


def two_owners(hall: Hall) -> None:
    """Somebody else has the address from the beginning."""
    pair(hall)
    hall.stranger(20, IMPOSTOR_MAC)


def on_pull(hall: Hall, then: Callable[[], None]) -> None:
    """Let the hand do what it is told, and something else happen with every pull."""

    def hand(port: str, text: str) -> None:
        hall.honest(port, text)
        if text.startswith("Pull"):
            then()

    hall.hand = hand


def instead_of_pulling(hall: Hall, act: Callable[[], None]) -> None:
    """Let something else happen where a pull is asked for, and nothing at any other request."""
    hall.hand = lambda port, text: act() if text.startswith("Pull") else None


def owner_with_the_cable_out(hall: Hall) -> None:
    """Somebody else has the address and is heard only once the device's cable is out."""
    pair(hall)
    stranger = hall.stranger(20, IMPOSTOR_MAC)
    hall.lab.down(stranger, "eth0")
    on_pull(hall, lambda: hall.lab.up(stranger, "eth0"))


def uplink_behind_the_switch(hall: Hall) -> None:
    """The cable between two switches is pulled instead: the station's carrier stays, and everything falls silent."""
    far = hall.lab.namespace("far")
    hall.lab.veth((hall.switch, "trunk"), (far, "trunk"))
    hall.lab.run(hall.switch, ["ip", "link", "set", "trunk", "master", "br0"])
    hall.lab.bridge(far, "br0", ["trunk"])
    near, hall.switch = hall.switch, far
    pair(hall)
    hall.switch = near
    instead_of_pulling(hall, lambda: hall.lab.down(far, "trunk"))


def own_cable(hall: Hall) -> None:
    """The station's own cable is pulled instead, and stays out."""
    pair(hall)
    instead_of_pulling(hall, lambda: hall.lab.down(hall.switch, "p0"))


def never_pulled(hall: Hall) -> None:
    """Nobody touches a cable."""
    pair(hall)
    hall.hand = None


def wrong_cable(hall: Hall) -> None:
    """The neighbour's cable is pulled instead, and left out."""
    _, beta = pair(hall)
    instead_of_pulling(hall, lambda: hall.pull(beta))


def never_returns(hall: Hall) -> None:
    """The cable is not put back."""
    alpha, _ = pair(hall)
    instead_of_pulling(hall, lambda: hall.pull(alpha))


def swapped_pair(hall: Hall) -> None:
    """Two devices got each other's addresses."""
    hall.device("alpha", 20, address="192.0.2.21")
    hall.device("beta", 21, address="192.0.2.20")


def wrong_nameplate(hall: Hall) -> None:
    """Another device than the plan's was installed."""
    alpha, _ = pair(hall)
    alpha.mac = "00-00-5E-00-53-77"


def echo_ignored(hall: Hall) -> None:
    """The device answers ARP and no echo."""
    alpha, _ = pair(hall)
    hall.lab.echo_blocked(alpha.namespace)


def no_other_device(hall: Hall) -> None:
    """Nothing else answers on the switch: there is no control."""
    hall.device("alpha", 20)


def gateway_alone(hall: Hall) -> None:
    """The gateway is the only control."""
    hall.device("alpha", 20)
    hall.stranger(254, "00-00-5E-00-53-FE")


def proxy_arp(hall: Hall) -> None:
    """The device is absent, and a router answers for everything that it has a route to."""
    alpha, _ = pair(hall)
    hall.pull(alpha)
    router_for_all(hall)


def router_for_all(hall: Hall) -> None:
    """Add a router that answers for everything that it has a route to."""
    router = hall.stranger(254, "00-00-5E-00-53-FE")
    beyond = hall.lab.namespace("beyond")
    hall.lab.veth((router, "eth1"), (beyond, "eth0"))
    hall.lab.address(router, "eth1", "198.51.100.1/24")
    hall.lab.run(router, ["ip", "route", "add", "192.0.2.16/28", "dev", "eth1"])
    hall.lab.run(router, ["ip", "route", "add", "192.0.2.252/31", "dev", "eth1"])
    hall.lab.proxy_arp(router, "eth0")


def weak_host(hall: Hall) -> None:
    """A device with two interfaces on one segment answers for both on either (the kernel's default)."""
    alpha, _ = pair(hall)
    second_interface(hall, alpha)


def second_interface(hall: Hall, alpha: Device) -> None:
    """Give a device a second interface on the segment, and let each answer for both."""
    hall.plug(alpha.namespace, "00-00-5E-00-53-2A", "eth1")
    hall.lab.address(alpha.namespace, "eth1", "192.0.2.22/24")
    hall.lab.sysctl(alpha.namespace, {"net.ipv4.conf.all.arp_ignore": 0, "net.ipv4.conf.all.arp_announce": 0})


def borrowed_is_owned(hall: Hall) -> None:
    """Somebody has the address that the station would borrow."""
    pair(hall)
    hall.stranger(240, IMPOSTOR_MAC)


def forwards_late(hall: Hall) -> None:
    """The cable comes in when it is asked for, and the switch port forwards only 20 s after that: spanning tree's
    listening and learning."""
    alpha, _ = pair(hall)
    hall.lab.run(hall.switch, ["ip", "link", "set", "br0", "type", "bridge", "stp_state", "1", "forward_delay", "1000"])
    hall.pull(alpha)

    def hand(port: str, text: str) -> None:
        if text.startswith("See"):
            hall.plug_in(alpha)
        hall.honest(port, text)

    hall.hand = hand


def interface_removed(hall: Hall) -> None:
    """The station's interface vanishes in mid-run, as a pulled USB adapter does."""
    pair(hall)
    instead_of_pulling(hall, lambda: hall.lab.remove(hall.station, "eth0"))


def owner_behind_another_interface(hall: Hall) -> None:
    """The cable is direct; with it out, somebody behind the station's other interface owns the address."""
    hall.device("alpha", 20, direct=True)
    other = hall.lab.namespace("office")
    hall.lab.veth((hall.station, "eth9"), (other, "eth0"), macs=("00-00-5E-00-53-02", IMPOSTOR_MAC))
    hall.lab.address(hall.station, "eth9", "192.0.2.2/24")
    hall.lab.address(other, "eth0", "192.0.2.20/24")
    hall.lab.down(other, "eth0")
    on_pull(hall, lambda: hall.lab.up(other, "eth0"))
