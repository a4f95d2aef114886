"""The link without rights, run by a user without rights."""

from __future__ import annotations

import os

import pytest

from netcheck.errors import LinkError
from netcheck.wire.frames import ECHO_REPLY, ECHO_REQUEST, Echo, arp_request, echo_from_wire, echo_to_wire
from netcheck.wire.link import Carrier, Heard, Link, Lost, News
from netcheck.wire.links.open import open_link
from tests.lab.netns import Lab

pytestmark = pytest.mark.lab

STATION, STATION_IP = 0x00005E005301, 0xC0000201
DEVICE, DEVICE_IP = 0x00005E005314, 0xC0000214


@pytest.fixture
def cable(lab: Lab) -> tuple[str, str]:
    """A station where users may send echo requests, and a device."""
    station, device = lab.namespace("station"), lab.namespace("device")
    lab.veth((station, "eth0"), (device, "eth0"), macs=("00-00-5E-00-53-01", "00-00-5E-00-53-14"))
    lab.address(station, "eth0", "192.0.2.1/24", "192.0.2.7/24")
    lab.address(device, "eth0", "192.0.2.20/24")
    lab.sysctl(station, {"net.ipv4.ping_group_range": "0 2147483647"})
    return station, device


def without_rights() -> None:
    """Give up all rights."""
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)


def ask(link: Link, sequence: int, source: int = STATION_IP, target: int = DEVICE_IP, adapter: int = 0) -> float | None:
    """Send an echo request as the prober does."""
    echo = Echo(
        DEVICE, link.adapters[adapter].mac, source, target, 64, ECHO_REQUEST, 0x1234, sequence, b"sixteen bytes !!"
    )
    return link.send(echo_to_wire(echo), adapter)


def heard(link: Link, seconds: float = 0.3) -> list[Echo]:
    """Return the echo frames that arrive in this time; every frame must be one."""
    found = []
    until = link.now() + seconds
    while link.now() < until:
        for news in link.receive(until):
            if isinstance(news, Heard):
                echo = echo_from_wire(news.frame)
                assert echo is not None
                assert until - seconds - 0.1 <= news.at <= link.now()
                found.append(echo)
    return found


def asks_as_nobody() -> tuple[bool, list[Echo], list[Echo]]:
    """Run inside the station: send requests that are answered, then requests that are not."""
    without_rights()
    with open_link("unprivileged", "eth0") as link:
        ask(link, 1)
        ask(link, 2, source=0xC0000207)
        answers = heard(link)
        link.send(arp_request(STATION, STATION_IP, DEVICE_IP))
        ask(link, 3, source=0xC0000209)  # not the system's own
        ask(link, 4, target=0xC6336401)  # reachable only through a router
        ask(link, 5, target=0xC0000299)  # an address that no device has
        link.send(b"")
        return link.hears_all, answers, heard(link)


def test_an_echo_is_answered_without_any_right(lab: Lab, cable: tuple[str, str]) -> None:
    """The built frame has the request's identifier, sequence and payload, and the neighbour table's MAC."""
    lab.run(cable[0], ["ip", "route", "add", "default", "via", "192.0.2.20"])
    lab.address(cable[1], "lo", "198.51.100.1/32")
    lab.arp_strict(cable[1])  # makes it reachable as a router only, not by ARP
    assert lab.echo(cable[0], "198.51.100.1") == 1
    hears_all, answers, others = lab.call(cable[0], asks_as_nobody)
    assert not hears_all
    payload = b"sixteen bytes !!"
    assert answers == [
        Echo(STATION, DEVICE, DEVICE_IP, STATION_IP, 64, ECHO_REPLY, 0x1234, 1, payload),
        Echo(STATION, DEVICE, DEVICE_IP, 0xC0000207, 64, ECHO_REPLY, 0x1234, 2, payload),
    ]
    assert others == []


def test_the_route_of_another_interface_is_not_used(lab: Lab, cable: tuple[str, str]) -> None:
    """If two interfaces have one subnet, each adapter sends on its own cable, not on the kernel's preferred route."""
    other = lab.namespace("other")
    lab.veth((cable[0], "eth1"), (other, "eth0"), macs=("00-00-5E-00-53-02", "00-00-5E-00-53-99"))
    lab.address(cable[0], "eth1", "192.0.2.3/24")
    lab.address(other, "eth0", "192.0.2.20/24")
    with lab.inside(cable[0]):
        link = open_link("unprivileged", "eth0", ["eth1"])
    with link:
        ask(link, 1)
        ask(link, 2, source=0xC0000203, adapter=1)
        assert sorted((echo.sequence, echo.source) for echo in heard(link)) == [(1, DEVICE), (2, 0x00005E005399)]
        lab.down(cable[1], "eth0")
        ask(link, 3)
        assert heard(link) == []


def test_the_carrier_needs_no_right(lab: Lab, cable: tuple[str, str]) -> None:
    """A pulled cable and a removed interface are reported; sending raises no error."""
    with lab.inside(cable[0]):
        link = open_link("unprivileged", "eth0")
    with link:
        lab.down(cable[1], "eth0")
        changes = [news for news in link.receive(link.now() + 1) if isinstance(news, Carrier)]
        assert [(change.up, change.gone) for change in changes] == [(False, False)]
        ask(link, 1)
        lab.remove(cable[0], "eth0")
        changes = []
        until = link.now() + 0.3
        while link.now() < until:
            changes += [news for news in link.receive(until) if isinstance(news, Carrier)]
        assert not any(change.up for change in changes)
        assert changes[-1].gone
        ask(link, 2)
        assert heard(link, 0.1) == []


def refused() -> str:
    """Run inside a station where users may not send echo requests."""
    without_rights()
    try:
        open_link("unprivileged", "eth0")
    except LinkError as error:
        return str(error)
    return "opened"


def test_if_users_may_not_ping_the_message_names_the_setting(lab: Lab, cable: tuple[str, str]) -> None:
    """The message names the setting `net.ipv4.ping_group_range`."""
    lab.sysctl(cable[0], {"net.ipv4.ping_group_range": "1 0"})
    assert "ping_group_range='0 2147483647'" in lab.call(cable[0], refused)


def test_without_an_address_the_link_is_refused(lab: Lab) -> None:
    """The link needs an address of the system; the message names the raw link as the alternative."""
    station = lab.namespace()
    lab.veth((station, "eth0"), (lab.namespace(), "eth0"))
    with lab.inside(station), pytest.raises(LinkError, match=r"eth0: it has no IPv4 address.*--link raw"):
        open_link("unprivileged", "eth0")


def test_every_reply_is_heard_or_counted_as_lost(lab: Lab, cable: tuple[str, str]) -> None:
    """More replies arrive than the socket's buffer holds: the link reports how many the kernel dropped."""
    with lab.inside(cable[0]):
        link = open_link("unprivileged", "eth0")
    with link:
        sent = sum(ask(link, number) is not None for number in range(4000))
        news: list[News] = []
        until = link.now() + 0.5
        while link.now() < until:
            news.extend(link.receive(until))
    lost = sum(one.frames for one in news if isinstance(one, Lost))
    assert lost > 0
    assert lost + sum(isinstance(one, Heard) for one in news) == sent
