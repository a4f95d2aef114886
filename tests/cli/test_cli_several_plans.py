"""Tests of several plans in one call: they are checked against each other, and proposals avoid addresses of all."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from tests.command_line import netcheck

DAY = "2026-11-02"
SUBNET = '[[subnet]]\nname = "process"\nprefix = "10.62.20.0/24"\n'
GATEWAY = 'gateway = "10.62.20.1"\nvlan = 620\npools = ["10.62.20.200-10.62.20.239"]\n'
KEYS = (
    'address = "10.62.20.61"\nmac = "00-00-5E-00-53-21"\nhost-name = "filler-plc"\nswitch-port = "sw-3/7"\n'
    'subnet = "process"\n'
)
RULES = ["planned-twice", "mac-planned-twice", "name-planned-twice", "switch-port-twice"]
HOSTS = '[[survey]]\nfile = "site-hosts.csv"\ntaken = 2026-10-28\ncovers = ["10.62.20.0/24"]\n'


def written(folder: Path, device: str, keys: str, *, subnet: str = SUBNET + GATEWAY, site: str = "Plant") -> Path:
    """Write a plan of one device and return its folder."""
    folder.mkdir(parents=True)
    interface = f'[[device]]\nname = "{device}"\n[[device.interface]]\nname = "cpu"\n{keys}'
    (folder / "plan.toml").write_text(f'format = 1\n[site]\nname = "{site}"\n{subnet}\n{interface}\n{HOSTS}', "utf-8")
    (folder / "site-hosts.csv").write_text("address\n", "utf-8")
    return folder


def checked(*plans: Path) -> list[Any]:
    """Return the JSON of a check of several plans."""
    found: list[Any] = json.loads(netcheck("check", *plans, "--format", "json", "--today", DAY).stdout)
    return found


@pytest.mark.parametrize("device", ["capper-plc", "filler-plc"], ids=["another device", "a copied row"])
def test_values_planned_in_two_cells_are_found_in_both(device: str, tmp_path: Path) -> None:
    """One address, MAC, host name and switch port in two cells give four conflicts in each cell."""
    plans = written(tmp_path / "cell-1", "filler-plc", KEYS), written(tmp_path / "cell-2", device, KEYS)
    assert netcheck("check", *plans, "--today", DAY).returncode == 1
    for each, other in zip(checked(*plans), reversed(plans), strict=True):
        assert [finding["rule"] for finding in each["findings"]] == RULES
        assert all(str(other) in finding["message"] for finding in each["findings"])


def test_the_later_plan_gets_an_address_that_no_plan_uses(tmp_path: Path) -> None:
    """The first plan keeps the address; the fixes of the other plans differ from it and from each other."""
    first = written(tmp_path / "cell-1", "filler-plc", 'subnet = "process"\naddress = "10.62.20.61"\n')
    second = written(tmp_path / "cell-2", "capper-plc", 'subnet = "process"\naddress = "10.62.20.61"\n')
    third = written(tmp_path / "cell-3", "labeller-plc", 'subnet = "process"\naddress = "10.62.20.61"\n')
    fixes = [each["findings"][0]["fix"] for each in checked(first, second, third)]
    assert fixes[0] is None
    assert len({"10.62.20.61", fixes[1]["address"], fixes[2]["address"]}) == 3


def test_each_plan_is_named_by_its_path(tmp_path: Path) -> None:
    """Plans of one site have the same name, so text, Markdown and JSON name the file of each result."""
    folders = [written(tmp_path / f"cell-{n}", f"plc-{n}", 'subnet = "process"\n') for n in (1, 2)]
    plans = [str(folder) for folder in folders]
    text = netcheck("check", *plans).stdout
    assert [line[:-1] for line in text.splitlines() if line.startswith(str(tmp_path))] == plans
    headings = [
        line for line in netcheck("check", *plans, "--format", "markdown").stdout.splitlines() if line[:2] == "# "
    ]
    assert ["cell-1" in headings[0], "cell-2" in headings[1], len(headings)] == [True, True, 2]
    assert [one["path"] for one in checked(*folders)] == plans


def test_suggest_proposes_what_the_check_of_all_plans_offers(tmp_path: Path) -> None:
    """This also holds if the plan is among those after `--beside`, or if an earlier plan has no address yet."""
    texts = ["", "", 'address = "10.62.20.61"\n', "", 'address = "10.62.20.61"\n']
    plans = [written(tmp_path / f"cell-{n}", f"plc-{n}", f'subnet = "process"\n{text}') for n, text in enumerate(texts)]
    offered = {}
    for each in checked(*plans):
        (finding,) = [one for one in each["findings"] if one["rule"] in ("unplaced", "planned-twice")]
        offered[each["path"]] = finding["fix"] and finding["fix"]["address"]
    assert len(set(offered.values())) == len(plans)
    for plan in filter(offered.get, map(str, plans)):
        run = netcheck("suggest", plan, "--format", "json", "--today", DAY, "--beside", *plans)
        assert [one["address"] for one in json.loads(run.stdout)["suggestions"]] == [offered[plan]]


def test_suggest_avoids_the_addresses_of_other_plans(tmp_path: Path) -> None:
    """With `--beside`, the proposal avoids an address that another plan uses."""
    plan = written(tmp_path / "cell-1", "filler-plc", 'subnet = "process"\n')
    alone = json.loads(netcheck("suggest", plan, "--format", "json", "--today", DAY).stdout)
    address = alone["suggestions"][0]["address"]
    written(tmp_path / "cell-2", "capper-plc", f'subnet = "process"\naddress = "{address}"\n')
    run = netcheck("suggest", plan, "--format", "json", "--today", DAY, "--beside", *sorted(tmp_path.iterdir()))
    assert run.returncode == 0
    assert json.loads(run.stdout)["suggestions"][0]["address"] not in (None, address)


def test_several_plans_without_beside_are_refused(tmp_path: Path) -> None:
    """Without `--beside`, `suggest` refuses several plans."""
    plan = written(tmp_path / "cell-1", "filler-plc", 'subnet = "process"\n')
    other = written(tmp_path / "cell-2", "capper-plc", 'subnet = "process"\n')
    run = netcheck("suggest", plan, other)
    assert run.returncode == 2
    assert "--beside" in run.stderr


@pytest.mark.parametrize(
    ("subnet", "words"),
    [
        (GATEWAY.replace("20.1", "20.2"), "gateway 10.62.20.1 and not 10.62.20.2"),
        (GATEWAY.replace("= 620", "= 621"), "VLAN 620 and not 621"),
        (GATEWAY.replace("-10.62.20.239", "-10.62.20.229"), "pools 10.62.20.200-10.62.20.239 and not"),
        ("", "pools 10.62.20.200-10.62.20.239 and not none"),
        (GATEWAY, ""),
    ],
)
def test_one_subnet_in_two_plans_must_agree(subnet: str, words: str, tmp_path: Path) -> None:
    """A different gateway, VLAN or pool of a shared subnet is a conflict in both plans."""
    first = written(tmp_path / "cell-1", "filler-plc", 'subnet = "process"\naddress = "10.62.20.61"\n')
    keys = 'subnet = "process"\naddress = "10.62.20.62"\n'
    second = written(tmp_path / "cell-2", "capper-plc", keys, subnet=SUBNET + subnet)
    one, two = checked(first, second)
    assert [finding["rule"] for finding in one["findings"]] == (["subnets-overlap"] if words else [])
    assert [finding["rule"] for finding in two["findings"]] == (["subnets-overlap"] if words else [])
    assert all(words in finding["message"] for finding in one["findings"])


def test_islands_may_repeat_addresses_but_not_macs(tmp_path: Path) -> None:
    """Islands may repeat addresses and names, but a MAC and a switch port are unique everywhere."""
    for number in (1, 2):
        subnet = f'{SUBNET}island = "machine-{number}"\n'
        folder = written(tmp_path / f"cell-{number}", f"plc-{number}", KEYS, subnet=subnet)
        text = (folder / "plan.toml").read_text("utf-8").replace(HOSTS, f'{HOSTS}island = "machine-{number}"\n')
        (folder / "plan.toml").write_text(text, "utf-8")
    for each in checked(*sorted(tmp_path.iterdir())):
        assert [finding["rule"] for finding in each["findings"]] == ["mac-planned-twice", "switch-port-twice"]


def test_revisions_and_the_same_plan_are_not_compared(tmp_path: Path) -> None:
    """Revisions of a plan, and a plan that is named twice, are not compared."""
    first = written(tmp_path / "b", "filler-plc", KEYS, site='Plant"\nrevision = "B')
    second = written(tmp_path / "c", "filler-plc", KEYS, site='Plant"\nrevision = "C')
    assert [each["findings"] for each in checked(first, second)] == [[], []]
    said = netcheck("check", first, second).stderr
    assert f"{first} and {second} are not compared: they are revisions B and C of Plant" in said
    assert [each["findings"] for each in checked(first, first)] == [[], []]
    shutil.copytree(first, tmp_path / "copy")
    assert all(each["findings"] for each in checked(first, tmp_path / "copy"))


def test_the_gateway_and_station_of_another_plan_are_in_use(tmp_path: Path) -> None:
    """An address that is a router's or a station's in another plan is a conflict."""
    more = (
        '[[router]]\nname = "site-router"\ninterfaces = ["10.62.20.61/24"]\n'
        '[[station]]\nname = "laptop"\naddress = "10.62.20.61/24"\n'
    )
    first = written(tmp_path / "cell-1", "filler-plc", 'subnet = "process"\naddress = "10.62.20.61"\n')
    second = written(tmp_path / "cell-2", "capper-plc", 'subnet = "process"\naddress = "10.62.20.62"\n')
    (second / "plan.toml").write_text((second / "plan.toml").read_text("utf-8") + more, "utf-8")
    one, _ = checked(first, second)
    assert [finding["rule"] for finding in one["findings"]] == ["is-gateway", "is-station"]
