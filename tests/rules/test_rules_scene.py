"""Site hosts at planned addresses: reservations for the device are no clash, strangers are."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from netcheck.rules.engine import Checked
from netcheck.rules.rule import device, one, plan

DOMAIN = 'domain = "plant.example"\n'
NAMED = 'address = "10.62.20.61"\nhost-name = "filler-plc"'
WITH_MAC = f'{NAMED}\nmac = "00-00-5E-00-53-21"'
GRANTED = 'granted = "site IT, 2026-10-30"'


@pytest.mark.parametrize(
    ("keys", "hosts", "rule"),
    [
        (NAMED, "10.62.20.61,,filler-plc", "reservation-made"),
        (NAMED, "10.62.20.61,,Filler-PLC.plant.example", "reservation-made"),
        (WITH_MAC, "10.62.20.61,,filler-plc", "reservation-made"),
        (NAMED, "10.62.20.61,00-00-5E-00-53-21,filler-plc", "reservation-made"),
        (f"{NAMED}\n{GRANTED}", "10.62.20.61,,", "reservation-made"),
        (f"{WITH_MAC}\n{GRANTED}", "10.62.20.61,,reserved 4711", "reservation-made"),
        (WITH_MAC, "10.62.20.61,00-00-5E-00-53-21,filler-plc", "already-there"),
        (NAMED, "10.62.20.61,,filler-plc.elsewhere.example", "taken-on-site"),
        (NAMED, "10.62.20.61,,gate-camera", "taken-on-site"),
        (NAMED, "10.62.20.61,,", "taken-on-site"),
        (WITH_MAC, "10.62.20.61,00-00-5E-00-53-99,filler-plc", "taken-on-site"),
        (f"{WITH_MAC}\n{GRANTED}", "10.62.20.61,00-00-5E-00-53-99,camera", "taken-on-site"),
        (f"{NAMED}\n{GRANTED}", "10.62.20.61,00-00-5E-00-53-99,camera", "taken-on-site"),
    ],
)
def test_a_reservation_for_the_device_is_no_clash(
    keys: str, hosts: str, rule: str, checked: Callable[..., Checked]
) -> None:
    """An entry with the planned name, or without a MAC at a granted address, is a note; any other is a clash."""
    example = one(keys, site=DOMAIN, hosts=f"address,mac,name\n{hosts}\n")
    (found,) = checked(example.plan, example.hosts).findings
    assert found.rule == rule
    assert (found.fix is None) == (rule != "taken-on-site")


def test_an_unnamed_entry_beside_a_reservation_does_not_count(checked: Callable[..., Checked]) -> None:
    """Two lists have the address: one with the device's name, the other with only the address."""
    hosts = "address,mac,name\n10.62.20.61,,filler-plc\n10.62.20.61,,\n"
    example = one(NAMED, hosts=hosts)
    assert [each.rule for each in checked(example.plan, example.hosts).findings] == ["reservation-made"]


@pytest.mark.parametrize(
    ("planned", "listed", "broken"),
    [
        ("filler-plc", "filler-plc.plant.example", True),
        ("filler-plc.plant.example", "filler-plc", True),
        ("FILLER-PLC", "filler-plc", True),
        ("filler-plc", "filler-plc.elsewhere.example", False),
        ("filler-plc.elsewhere.example", "filler-plc", False),
    ],
)
def test_names_are_compared_with_the_domain(
    planned: str, listed: str, broken: bool, checked: Callable[..., Checked]
) -> None:
    """A list may have the bare or the fully qualified name; both are the planned one."""
    keys = f'address = "10.62.20.61"\nhost-name = "{planned}"'
    example = one(keys, site=DOMAIN, hosts=f"address,name\n10.62.20.80,{listed}\n")
    rules = [each.rule for each in checked(example.plan, example.hosts).findings]
    assert rules == (["name-taken-on-site"] if broken else [])


@pytest.mark.parametrize("second", ["filler-plc.plant.example", "Filler-PLC"])
def test_a_name_planned_bare_and_qualified_is_planned_twice(second: str, checked: Callable[..., Checked]) -> None:
    """With the plan's domain, both spellings are the same name."""
    other = device("capper-plc", cpu=f'address = "10.62.20.62"\nhost-name = "{second}"')
    example = plan(device("filler-plc", cpu=NAMED), other, site=DOMAIN)
    assert [each.rule for each in checked(example.plan).findings] == ["name-planned-twice"]


ZONE = "$ORIGIN plant.example.\n$TTL 3600\nfiller-plc IN A 10.62.20.62\nfiller-plc IN A 10.62.20.61\n"


@pytest.mark.parametrize(
    "hosts",
    [
        "address,mac,name\n10.62.20.63,,filler-plc.plant.example\n",
        "address,mac,name\n10.62.20.63,00-00-5E-00-53-21,old-name\n",
        ZONE,
    ],
    ids=["by name with domain", "by MAC", "its DNS record"],
)
def test_the_device_is_not_its_own_neighbour(hosts: str, checked: Callable[..., Checked]) -> None:
    """`too-near` ignores entries of the device itself."""
    example = one(WITH_MAC, site=f"{DOMAIN}keep-clear = 4\n", hosts=hosts)
    assert "too-near" not in {each.rule for each in checked(example.plan, example.hosts).findings}
