"""Tests of the scope of a run: its ports, its subnets, and addresses that no host should own."""

from __future__ import annotations

from pathlib import Path

import pytest

from netcheck.addr import Address
from netcheck.errors import UsageError
from netcheck.plan.read import read_plan
from netcheck.proof.targets import Scope, SiteHostSeen, scope_of

HEAD = """
format = 1
[site]
name = "Tarn Hollow creamery"
[[subnet]]
name = "process"
prefix = "192.0.2.0/24"
gateway = "192.0.2.254"
pools = ["192.0.2.200-192.0.2.252"]
reserved = ["192.0.2.190-192.0.2.198"]
[[station]]
name = "laptop"
address = "192.0.2.253/24"
"""
DEVICE = """
[[device]]
name = "{name}"
  [[device.interface]]
  name = "cpu"
  subnet = "{subnet}"
  {more}
"""


def scope(
    folder: Path, *devices: str, head: str = HEAD, hosts: tuple[SiteHostSeen, ...] = (), only: tuple[str, ...] = ()
) -> Scope:
    """Return the scope of a plan that is written for one test."""
    (folder / "plan.toml").write_text(head + "".join(devices), encoding="utf-8")
    return scope_of(read_plan(folder), hosts, only)


def device(name: str, more: str = "", subnet: str = "process") -> str:
    """Return the TOML of a device with one interface."""
    return DEVICE.format(name=name, more=more, subnet=subnet)


def ip(text: str) -> int:
    """Return an address as an integer."""
    return Address.from_text(text).value


def test_every_port_is_a_target(tmp_path: Path) -> None:
    """Targets follow the plan's order; each has its port number in the row, its MAC and the port it is behind."""
    found = scope(
        tmp_path,
        device("alpha", 'address = "192.0.2.20"\n  mac = "00-00-5E-00-53-14"\n  ports = ["1", "2"]'),
        device("beta", 'address = "192.0.2.21"\n  behind = "alpha/cpu:2"'),
    )
    assert [(t.subject, t.ordinal, t.ports) for t in found.targets] == [
        ("alpha/cpu:1", 0, 2), ("alpha/cpu:2", 1, 2), ("beta/cpu:1", 0, 1),
    ]  # fmt: skip
    assert found.asked == found.targets
    assert (found.targets[0].address, found.targets[0].address_text) == (ip("192.0.2.20"), "192.0.2.20")
    assert (found.targets[0].mac, found.macs) == (0x5E005314, {0x5E005314: "alpha/cpu"})
    assert found.targets[2].behind == "alpha/cpu:2"
    assert found.stations == {ip("192.0.2.253")}
    net = found.net("process")
    assert (net.gateway, net.station, net.length) == (ip("192.0.2.254"), ip("192.0.2.253"), 24)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ("", "no address"),
        ('address = "192.0.2.020"', "cannot be read"),
        ('address = "2001:db8::1"', "IPv6 is not probed"),
        ('address = "198.51.100.7"', "not inside 192.0.2.0/24"),
        ('address = "192.0.2.255"', "network or broadcast"),
        ('address = "192.0.2.0"', "network or broadcast"),
    ],
    ids=["none", "leading zero", "IPv6", "outside", "broadcast", "network"],
)
def test_a_port_that_cannot_be_probed_has_a_reason(tmp_path: Path, more: str, says: str) -> None:
    """A port that cannot be probed has a reason and no address."""
    target = scope(tmp_path, device("alpha", more)).targets[0]
    assert says in target.barred
    assert target.address == 0


@pytest.mark.parametrize(
    ("only", "subjects"),
    [
        ((), ["alpha/cpu:1", "alpha/cpu:2", "beta/cpu:1"]),
        (("alpha/cpu",), ["alpha/cpu:1", "alpha/cpu:2"]),
        (("alpha/cpu:2",), ["alpha/cpu:2"]),
        (("beta/cpu", "alpha/cpu:1"), ["beta/cpu:1", "alpha/cpu:1"]),
    ],
    ids=["all", "interface", "port", "two"],
)
def test_only_the_selected_ports_are_asked(tmp_path: Path, only: tuple[str, ...], subjects: list[str]) -> None:
    """The name of an interface selects all its ports; the order of the names is kept, and the other ports are still
    watched.
    """
    found = scope(
        tmp_path,
        device("alpha", 'address = "192.0.2.20"\n  ports = ["1", "2"]'),
        device("beta", 'address = "192.0.2.21"'),
        only=only,
    )
    assert [target.subject for target in found.asked] == subjects
    assert len(found.targets) == 3


def test_only_with_an_unknown_subject(tmp_path: Path) -> None:
    """Unknown subjects are refused with exit code 2; the message names each of them and the known subjects."""
    with pytest.raises(UsageError, match="gamma/cpu") as refused:
        scope(tmp_path, device("alpha", 'address = "192.0.2.20"'), only=("gamma/cpu", "alpha/cpu:7"))
    assert refused.value.exit_code == 2
    assert "alpha/cpu:7" in str(refused.value)
    assert "alpha/cpu:1" in str(refused.value)


@pytest.mark.parametrize(
    ("hosts", "planned", "spare"),
    [
        ((), "192.0.2.20", ["192.0.2.199", "192.0.2.189"]),
        (("192.0.2.199",), "192.0.2.20", ["192.0.2.189", "192.0.2.188"]),
        ((), "192.0.2.199", ["192.0.2.189", "192.0.2.188"]),
        (("192.0.2.199", "192.0.2.189", "192.0.2.187"), "192.0.2.188", ["192.0.2.186", "192.0.2.185"]),
    ],
    ids=["pools and reserved", "site host", "planned", "all of them"],
)
def test_spare_addresses_belong_to_no_host(
    tmp_path: Path, hosts: tuple[str, ...], planned: str, spare: list[str]
) -> None:
    """The spare addresses are the two highest usable ones that are not planned, not a site host's, not in a pool, not
    reserved, not the gateway (.254) and not a station (.253).
    """
    seen = tuple(SiteHostSeen(ip(host), None, "") for host in hosts)
    found = scope(tmp_path, device("alpha", f'address = "{planned}"'), hosts=seen)
    assert found.net("process").spare == tuple(map(ip, spare))


def test_a_full_subnet_has_no_spare_address(tmp_path: Path) -> None:
    """A subnet without a free address has no spare address."""
    head = '\nformat = 1\n[site]\nname = "x"\n[[subnet]]\nname = "link"\nprefix = "192.0.2.4/31"\n'
    found = scope(
        tmp_path, device("a", 'address = "192.0.2.4"', "link"), device("b", 'address = "192.0.2.5"', "link"), head=head
    )
    assert found.net("link").spare == ()
    assert [target.barred for target in found.targets] == ["", ""]


def test_stations_are_chosen_within_their_island(tmp_path: Path) -> None:
    """A subnet uses only the address of a station of its own island."""
    head = HEAD + '[[subnet]]\nname = "far"\nprefix = "192.0.2.0/24"\nisland = "ship"\n'
    found = scope(tmp_path, device("alpha", 'address = "192.0.2.20"', "far"), head=head)
    assert found.net("far").station is None
    assert found.net("process").station == ip("192.0.2.253")


def test_site_hosts_are_known_by_mac(tmp_path: Path) -> None:
    """A surveyed MAC is described by the name and address of its site host."""
    hosts = (SiteHostSeen(ip("192.0.2.9"), 0x5E005309, "camera"), SiteHostSeen(ip("192.0.2.8"), 0x5E005308, ""))
    found = scope(tmp_path, device("alpha", 'address = "192.0.2.20"'), hosts=hosts)
    assert found.site_macs == {0x5E005309: "site host camera (192.0.2.9)", 0x5E005308: "site host 192.0.2.8"}
