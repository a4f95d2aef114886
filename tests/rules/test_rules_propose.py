"""Tests which interfaces get another address, and that a proposal stays with its device."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from netcheck.plan.read import read_plan
from netcheck.rules.engine import Checked, check, propose_addresses
from netcheck.rules.propose import Proposal
from netcheck.rules.rule import device, one, plan
from netcheck.survey.read import read_surveys

TODAY = date(2026, 11, 2)
MAC = 'mac = "00-00-5E-00-53-21"'
GRANTED = 'granted = "site IT, 2026-10-30"'
HOSTS = "address,mac,name\n"
CAMERA = "10.62.20.63,00-00-5E-00-53-99,gate-camera\n"


@pytest.fixture
def proposed(tmp_path: Path) -> Callable[..., dict[str, Proposal]]:
    """Return a function that writes a plan and its survey, and gives the proposals by subject."""

    def run(text: str, hosts: str = "address\n") -> dict[str, Proposal]:
        (tmp_path / "plan.toml").write_text(text, "utf-8")
        (tmp_path / "site-hosts.csv").write_text(hosts, "utf-8")
        read = read_plan(tmp_path)
        surveys = read_surveys(read)
        found = propose_addresses(read, surveys, TODAY)
        proposals = (*found.proposals, *found.unreadable)
        fixes = {
            subject: address
            for finding in check(read, surveys, TODAY).findings
            if finding.fix
            for subject, address in finding.fix.addresses
        }
        assert fixes == {one.subject: one.address for one in found.proposals if one.subject in fixes}
        return {one.subject: one for one in proposals}

    return run


@pytest.mark.parametrize(
    ("keys", "hosts"),
    [
        (f'address = "10.62.20.61"\n{MAC}', f"{HOSTS}10.62.20.61,00-00-5E-00-53-21,\n{CAMERA}"),
        (f'address = "10.62.20.61"\n{GRANTED}', f"{HOSTS}{CAMERA}"),
        ('address = "10.62.20.61"\nhost-name = "filler-plc"', f"{HOSTS}10.62.20.61,,filler-plc\n{CAMERA}"),
    ],
    ids=["installed", "granted", "entered by the site"],
)
def test_a_risk_alone_moves_no_settled_address(
    keys: str, hosts: str, checked: Callable[..., Checked], proposed: Callable[..., dict[str, Proposal]]
) -> None:
    """An installed, granted or reserved address that is too near to a camera is a risk, but gets no new address."""
    example = one(keys, site="keep-clear = 4", hosts=hosts)
    found = {each.rule: each for each in checked(example.plan, hosts).findings}
    assert found["too-near"].fix is None
    assert proposed(example.plan, hosts) == {}


def test_the_installed_holder_keeps_the_address(proposed: Callable[..., dict[str, Proposal]]) -> None:
    """The second device of the plan is already installed, so the first one moves."""
    first = device("filler-plc", cpu='address = "10.62.20.61"')
    second = device("capper-plc", cpu=f'address = "10.62.20.61"\n{MAC}')
    hosts = f"{HOSTS}10.62.20.61,00-00-5E-00-53-21,\n"
    assert set(proposed(plan(first, second, hosts=hosts).plan, hosts)) == {"filler-plc/cpu"}


def test_the_granted_holder_keeps_the_address(proposed: Callable[..., dict[str, Proposal]]) -> None:
    """The site has granted the address to the second device of the plan, so the first one moves."""
    first = device("filler-plc", cpu='address = "10.62.20.61"')
    second = device("capper-plc", cpu=f'address = "10.62.20.61"\n{GRANTED}')
    assert set(proposed(plan(first, second).plan)) == {"filler-plc/cpu"}


@pytest.mark.parametrize(
    "text", ["10.62.20.01", "10.62.20.1 / 10.62.20.1", "10.62.20.1 10.62.20.2", "10.62.20.1 (spare)"]
)
def test_an_address_in_an_unreadable_cell_is_given_to_nobody(
    text: str, proposed: Callable[..., dict[str, Proposal]]
) -> None:
    """The unreadable cell probably means the first of the two addresses of a /30.

    The other device gets the second address or none, and the device with the unreadable cell is named.
    """
    other = device("capper-plc", cpu="")
    found = proposed(one(f'address = "{text}"', other, subnet='prefix = "10.62.20.0/30"').plan)
    left = found["capper-plc/cpu"].address
    assert str(left) == ("None" if "10.62.20.2" in text else "10.62.20.2")
    assert found["filler-plc/cpu"].address is None
    assert "cannot be read" in found["filler-plc/cpu"].why


PACKING = '[[subnet]]\nname = "packing"\nprefix = "10.62.30.0/24"\ngateway = "10.62.30.1"'


@pytest.mark.parametrize(("mask", "moves"), [("", False), ("255.255.255.0", False), ("255.255.0.0", True)])
def test_a_wrong_subnet_key_is_no_wrong_address(
    mask: str, moves: bool, checked: Callable[..., Checked], proposed: Callable[..., dict[str, Proposal]]
) -> None:
    """Address, mask and gateway fit subnet packing, so the key `subnet` is named as the value to change."""
    keys = 'address = "10.62.30.61"\ngateway = "10.62.30.1"' + (f'\nmask = "{mask}"' if mask else "")
    example = one(keys, PACKING)
    (found,) = (each for each in checked(example.plan).findings if each.rule == "outside-subnet")
    proposal = proposed(example.plan)["filler-plc/cpu"]
    assert (found.fix is not None) == (proposal.address is not None) == moves
    if not moves:
        assert "packing" in found.message
        assert "set its key subnet to packing" in proposal.why


NAMES = [f"{kind}-{number}" for kind in ("drive", "panel", "valve") for number in range(1, 8)]


def drafted(order: list[str], placed: dict[str, str], accepted: str = "") -> str:
    """Return a plan with these devices in this order, half of them with a kind, in a subnet with a pool."""
    devices = []
    for name in order:
        keys = f'address = "{placed[name]}"' if name in placed else ""
        kind = name.split("-")[0]
        devices.append(device(name, cpu=keys) if kind == "valve" else with_kind(name, kind, keys))
    entries = f'[[accepted]]\nrule = "inside-pool"\nsubject = "{accepted}/cpu"\nby = "IT"\nbecause = "agreed"'
    subnet = 'prefix = "10.62.20.0/24"\npools = ["10.62.20.200-10.62.20.239"]'
    return plan(*devices, *([entries] if accepted else []), subnet=subnet).plan


def with_kind(name: str, kind: str, keys: str) -> str:
    """Return a device with a kind."""
    return device(name, cpu=keys).replace(f'name = "{name}"', f'name = "{name}"\nkind = "{kind}"', 1)


@pytest.mark.parametrize("seed", range(12))
def test_a_proposal_stays_with_its_device(seed: int, proposed: Callable[..., dict[str, Proposal]]) -> None:
    """The order of the plan, an accepted finding or written proposals do not change the other proposals."""
    rng = random.Random(seed)
    placed = {name: f"10.62.20.{200 + index}" for index, name in enumerate(rng.sample(NAMES, 10))}
    placed |= {name: f"10.62.20.{index}" for index, name in enumerate(rng.sample(NAMES, 4), 20)}
    hosts = "address\n10.62.20.90\n"
    first = as_addresses(proposed(drafted(NAMES, placed), hosts))
    assert len(set(first.values())) == len(first)
    shuffled = rng.sample(NAMES, len(NAMES))
    assert as_addresses(proposed(drafted(shuffled, placed), hosts)) == first
    agreed = rng.choice([name for name in first if name in placed])
    after = as_addresses(proposed(drafted(shuffled, placed, agreed), hosts))
    assert after == {name: address for name, address in first.items() if name != agreed}
    written = rng.sample(sorted(first), len(first) // 2)
    after = as_addresses(proposed(drafted(shuffled, {**placed, **{name: first[name] for name in written}}), hosts))
    assert after == {name: address for name, address in first.items() if name not in written}


def as_addresses(proposals: dict[str, Proposal]) -> dict[str, str]:
    """Return the proposed addresses by device."""
    return {subject.removesuffix("/cpu"): str(each.address) for subject, each in proposals.items()}


def test_devices_of_one_kind_stay_together(proposed: Callable[..., dict[str, Proposal]]) -> None:
    """If no device has an address, each kind gets one run of consecutive addresses, and the reason says so."""
    found = proposed(drafted([name for name in NAMES if "valve" not in name], {}))
    for kind in ("drive", "panel"):
        values = [found[f"{kind}-{number}/cpu"].address for number in range(1, 8)]
        assert [each.value - values[0].value for each in values if each and values[0]] == list(range(7))
        assert all(re.search(f"of kind {kind}", found[f"{kind}-{number}/cpu"].why) for number in range(2, 8))


SMALL_NET = 'prefix = "10.62.20.0/29"\n'
NEAR = f"{HOSTS}10.62.20.1,00-00-5E-00-53-91,\n10.62.20.4,00-00-5E-00-53-94,\n"


def test_an_interface_with_a_risk_alone_keeps_its_address(proposed: Callable[..., dict[str, Proposal]]) -> None:
    """If no address is better, the proposal says that the interface keeps its address."""
    text = plan(device("a", cpu='address = "10.62.20.2"'), site="keep-clear = 4", subnet=SMALL_NET, hosts=NEAR).plan
    found = proposed(text, NEAR)["a/cpu"]
    assert (found.address, found.keeps, found.rules) == (None, True, ("too-near",))
    assert found.why.endswith("is free that is 4 from every site host; it keeps 10.62.20.2")


def test_the_reason_for_no_proposal_is_a_full_subnet(proposed: Callable[..., dict[str, Proposal]]) -> None:
    """An interface that must move may be near a host; without a proposal, no address of the subnet is free."""
    devices = [device(f"d{number}", cpu=f'address = "10.62.20.{number}"') for number in (1, 2, 3, 5, 6)]
    last = device("a", cpu='address = "10.62.20.4"')
    found = proposed(plan(*devices, last, site="keep-clear = 4", subnet=SMALL_NET, hosts=NEAR).plan, NEAR)
    assert (found["d1/cpu"].address, found["d1/cpu"].keeps) == (None, False)
    assert found["d1/cpu"].why == "no address of subnet process is free"


def test_a_router_that_the_plan_does_not_name_is_kept_clear_of(proposed: Callable[..., dict[str, Proposal]]) -> None:
    """A typed gateway and the next hop of a route belong to routers, even if the subnet names no gateway."""
    router = (
        '[[router]]\nname = "r"\ninterfaces = ["10.62.20.1/29"]\nroutes = [{ to = "0.0.0.0/0", via = "10.62.20.3" }]\n'
    )
    typed = 'address = "10.62.20.2"\ngateway = "10.62.20.4"'
    devices = (device("a", cpu=typed), device("b", cpu=""), device("c", cpu=""), device("d", cpu=""))
    found = proposed(plan(*devices, router, subnet=SMALL_NET).plan)
    given = {str(found[f"{name}/cpu"].address) for name in "bcd"}
    assert given == {"10.62.20.5", "10.62.20.6", "None"}


@pytest.mark.parametrize(
    ("keys", "hosts", "address"),
    [
        ('host-name = "plc"', "10.62.20.90,,plc\n", "10.62.20.90"),
        ("", "10.62.20.90,,a\n", "10.62.20.90"),
        (f'host-name = "plc"\n{MAC}', "10.62.20.90,00-00-5E-00-53-21,plc\n", "10.62.20.90"),
        (MAC, "10.62.20.90,00-00-5E-00-53-21,\n", None),
        (f'host-name = "plc"\n{MAC}', "10.62.20.90,00-00-5E-00-53-99,plc\n", None),
        ('host-name = "plc"', "10.62.20.90,,plc\n10.62.20.91,,plc\n", None),
        ('host-name = "plc"', "10.62.21.90,,plc\n", None),
        ('host-name = "plc"', "10.62.20.1,,plc\n", None),
        ('host-name = "plc"', "10.62.20.90,,plc\n10.62.20.92,,x\n", None),
        (
            'host-name = "plc"\naddress = "10.62.20.99"',
            "10.62.20.99,00-00-5E-00-53-98,\n10.62.20.90,,plc\n",
            "10.62.20.90",
        ),
        ('host-name = "plc"\naddress = "10.62.20.70"', "10.62.20.90,,plc\n", "10.62.20.70"),
    ],
    ids=[
        "host name",
        "device name",
        "name and MAC",
        "MAC alone",
        "other MAC",
        "two",
        "other subnet",
        "gateway",
        "near",
        "taken",
        "sound",
    ],
)
def test_an_address_that_the_site_has_for_the_device_is_proposed(
    keys: str, hosts: str, address: str | None, proposed: Callable[..., dict[str, Proposal]]
) -> None:
    """With another address, the device's own entry would be a clash of names. A correct address stays."""
    subnet = 'prefix = "10.62.20.0/24"\ngateway = "10.62.20.1"'
    text = plan(device("a", cpu=keys), site="keep-clear = 4", subnet=subnet, hosts=HOSTS + hosts).plan
    found = proposed(text, HOSTS + hosts)
    if address == "10.62.20.70":
        assert "a/cpu" not in found
    elif address is None:
        assert found["a/cpu"].address is not None
        assert f"{found['a/cpu'].address}," not in hosts
    else:
        assert (str(found["a/cpu"].address), "the site has it for the device" in found["a/cpu"].why) == (address, True)


def test_an_entry_that_two_interfaces_could_have_is_not_proposed(proposed: Callable[..., dict[str, Proposal]]) -> None:
    """Two interfaces without host names have the same name, that of their device."""
    hosts = f"{HOSTS}10.62.20.90,,a\n"
    found = proposed(plan(device("a", x1="", x2=""), hosts=hosts).plan, hosts)
    assert "10.62.20.90" not in {str(one.address) for one in found.values()}
