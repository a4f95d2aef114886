"""This computer's interfaces, and messages for errors of the system."""

from __future__ import annotations

import errno
import os
from dataclasses import replace

import pytest

from netcheck.errors import LinkError
from netcheck.wire.link import NetworkInterface
from netcheck.wire.links.open import KINDS, Kind, open_link
from netcheck.wire.links.raw import open_raw
from netcheck.wire.station import completed, found, interfaces, master_of, other_interfaces_up
from netcheck.wire.system_errors import link_error, switch_on
from tests.lab.netns import Lab


@pytest.fixture(scope="module")
def lab(module_lab: Lab) -> Lab:
    """One laboratory for all tests, because they do not change it."""
    return module_lab


@pytest.fixture(scope="module")
def station(lab: Lab) -> str:
    """A station: eth0 with a cable, eth1 without one, wlan0 off, a bridge with a port, a macvlan, a tunnel."""
    here, there = lab.namespace("station"), lab.namespace("there")
    lab.veth((here, "eth0"), (there, "eth0"), macs=("00-00-5E-00-53-01", "00-00-5E-00-53-14"))
    lab.address(here, "eth0", "192.0.2.1/24")
    lab.veth((here, "eth1"), (there, "eth1"), macs=("00-00-5E-00-53-02", "00-00-5E-00-53-15"))
    lab.down(there, "eth1")
    lab.veth((here, "wlan0"), (there, "eth2"), up=False)
    lab.veth((here, "port"), (there, "eth3"))
    lab.bridge(here, "br0", ["port"])
    for command in (
        ["ip", "link", "add", "link", "eth0", "name", "sub0", "type", "macvlan"],
        ["ip", "link", "set", "sub0", "up"],
        ["ip", "tuntap", "add", "tun0", "mode", "tun"],
        ["ip", "link", "set", "tun0", "up"],
    ):
        assert lab.run(here, command).returncode == 0
    return here


@pytest.mark.lab
def test_interfaces_are_listed_with_their_state(lab: Lab, station: str) -> None:
    """Each has its name, state in words, MAC and addresses."""
    with lab.inside(station):
        listed = {one.name: one for one in interfaces()}
    states = {name: listed[name].state for name in ("eth0", "eth1", "wlan0", "br0")}
    assert states == {"eth0": "cable", "eth1": "no cable", "wlan0": "off", "br0": "cable"}
    assert (listed["eth0"].mac, listed["eth0"].addresses) == (0x00005E005301, ((0xC0000201, 24),))
    assert [name for name, one in listed.items() if not one.ethernet] == ["lo", "tun0"]


@pytest.mark.lab
def test_other_interfaces_are_those_from_which_a_false_reply_could_come(lab: Lab, station: str) -> None:
    """Interfaces that are off, tunnels, members of a listed bridge and interfaces on the same cable are left out."""
    with lab.inside(station):
        assert other_interfaces_up("eth0") == ["eth1", "br0"]
        assert other_interfaces_up("sub0") == ["eth1", "br0"]


@pytest.mark.lab
@pytest.mark.parametrize(
    ("name", "said"),
    [
        pytest.param("eth9", "no interface 'eth9'.*eth0, eth1, wlan0, br0 and sub0", id="absent"),
        pytest.param("wlan0", "wlan0 is switched off.*ip link set dev wlan0 up", id="off"),
        pytest.param("lo", "lo is the loopback.*no ARP.*Ethernet", id="loopback"),
        pytest.param("tun0", "tun0 is not Ethernet.*no ARP", id="tunnel"),
        pytest.param(
            "port", "port belongs to the bridge br0.*does not hear.*Use the master, `-i br0`", id="bridge member"
        ),
        pytest.param("x\x1b[31m", r"no interface 'x\\\\x1b", id="hostile name"),
        pytest.param("", "no interface ''", id="empty"),
        pytest.param("e" * 500, "no interface 'e+\u2026'", id="endless name"),
    ],
)
@pytest.mark.parametrize("kind", KINDS)
def test_an_interface_that_cannot_be_used(lab: Lab, station: str, name: str, said: str, kind: Kind) -> None:
    """Each link refuses it with the same message and exit code 3."""
    with lab.inside(station), pytest.raises(LinkError, match=said) as caught:
        open_link(kind, name)
    assert caught.value.exit_code == 3


@pytest.mark.lab
def test_another_interface_that_cannot_be_used_leaves_nothing_open(lab: Lab, station: str) -> None:
    """If a further adapter cannot be opened, the sockets opened before are closed."""
    before = len(os.listdir("/proc/self/fd"))
    with lab.inside(station), pytest.raises(LinkError, match="eth9"):
        open_raw("eth0", ["eth1", "eth9"])
    assert len(os.listdir("/proc/self/fd")) == before


def refused_without_rights(name: str) -> str:
    """Run inside a namespace: give up all rights, then try to open a link."""
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
    try:
        open_raw(name)
    except LinkError as error:
        return str(error)
    return "opened"


@pytest.mark.lab
def test_without_the_right_the_message_says_how_to_get_it(lab: Lab, station: str) -> None:
    """The message names root, the capability of this Python, and the unprivileged link with its best verdict."""
    said = lab.call(station, refused_without_rights, "eth0")
    for part in ("eth0: no right", "as root", "setcap cap_net_raw+ep /", "--link unprivileged", "unsettled"):
        assert part in said


@pytest.mark.parametrize(
    ("number", "kind", "said"),
    [
        pytest.param(errno.EPERM, "raw", "eth0: no right to send and receive frames. Run it as root", id="raw right"),
        pytest.param(errno.EACCES, "unprivileged", "no right to send echo.*ping_group_range", id="ping right"),
        pytest.param(errno.ENODEV, "raw", "the interface was removed. Plug it in", id="removed"),
        pytest.param(errno.ENETDOWN, "raw", "switched off.*ip link set dev eth0 up", id="off"),
        pytest.param(errno.EMFILE, "raw", "too many open files.*ulimit", id="files"),
        pytest.param(errno.ELOOP, "raw", "eth0: the system says: ", id="anything else"),
    ],
)
def test_errors_of_the_system_become_link_errors(number: int, kind: str, said: str) -> None:
    """The message says what is wrong, where and what to do, for each error in the table and for another error."""
    with pytest.raises(LinkError, match=said):
        raise link_error(OSError(number, os.strerror(number)), "eth0", kind)


@pytest.mark.parametrize(
    ("system", "do"),
    [
        ("Linux", "Switch it on: `ip link set dev en5 up`"),
        ("Darwin", "Switch it on: `sudo ifconfig en5 up`"),
        ("Windows", "Switch it on in the list of network connections"),
    ],
)
def test_how_to_switch_an_interface_on(system: str, do: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each system has its own command (ip-link(8), ifconfig(8))."""
    monkeypatch.setattr("platform.system", lambda: system)
    assert switch_on("en5") == do


@pytest.mark.lab
def test_an_interface_without_a_cable_can_be_used(lab: Lab, station: str) -> None:
    """`found` returns it, because the run waits for the cable."""
    with lab.inside(station):
        assert [found(name).carrier for name in ("eth0", "eth1")] == [True, False]


@pytest.mark.lab
def test_a_member_of_a_bond_is_refused_and_the_bond_is_not(lab: Lab) -> None:
    """The kernel names the master; the bond itself can be used."""
    here, there = lab.namespace("bonded"), lab.namespace()
    lab.veth((here, "eth0"), (there, "eth0"), up=False)
    if lab.run(here, ["ip", "link", "add", "bond0", "type", "bond"]).returncode:
        pytest.skip("this kernel has no bonding")
    for command in (["eth0", "master", "bond0"], ["bond0", "up"]):
        assert lab.run(here, ["ip", "link", "set", *command]).returncode == 0
    with lab.inside(here):
        with pytest.raises(LinkError, match=r"eth0 belongs to the bond bond0.*Use the master, `-i bond0`"):
            found("eth0")
        assert found("bond0").ethernet


@pytest.mark.lab
def test_a_member_of_a_routing_domain_can_be_used(lab: Lab) -> None:
    """A VRF selects a routing table; its members still receive all frames."""
    here, there = lab.namespace("routed"), lab.namespace()
    lab.veth((here, "eth0"), (there, "eth0"))
    if lab.run(here, ["ip", "link", "add", "vrf0", "type", "vrf", "table", "10"]).returncode:
        pytest.skip("this kernel has no VRF")
    assert lab.run(here, ["ip", "link", "set", "eth0", "master", "vrf0"]).returncode == 0
    with lab.inside(here):
        assert found("eth0").member_of == "vrf"


@pytest.mark.parametrize(
    ("kind", "master"),
    [("bridge", "up0"), ("bond", "up0"), ("team", "up0"), ("openvswitch", "up0"), ("", "up0"), ("vrf", "")],
)
def test_which_masters_take_frames_away(kind: str, master: str) -> None:
    """Every master except a VRF does, including a master whose kind an old kernel does not report."""
    above = NetworkInterface(
        index=7, name="up0", mac=7, up=True, carrier=True, ethernet=True, loopback=False, addresses=()
    )
    member = replace(above, index=3, name="eth0", mac=3, master=7, member_of=kind)
    assert master_of(member, [member, above]) == master
    assert master_of(above, [member, above]) == ""


@pytest.mark.lab
@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        pytest.param("eth0", "eth0", id="whole"),
        pytest.param("WLAN", "wlan0", id="beginning"),
        pytest.param("Sub0", "sub0", id="other case"),
        pytest.param("zz", "zz", id="unknown"),
    ],
)
def test_the_beginning_of_a_name_is_enough(lab: Lab, station: str, typed: str, meant: str) -> None:
    """A name is completed if exactly one interface name begins with it; an unknown name is returned unchanged."""
    with lab.inside(station):
        assert completed(typed) == meant


@pytest.mark.lab
def test_several_interfaces_with_that_beginning_are_named(lab: Lab, station: str) -> None:
    """The message lists them, and says to write more of the name."""
    with (
        lab.inside(station),
        pytest.raises(LinkError, match=r"beginning of several.*Write more of the name: eth0 and eth1"),
    ):
        completed("ET")
