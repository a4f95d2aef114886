"""The numbering scheme: proposals follow it, and addresses outside it are a risk."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from netcheck.errors import PlanError
from netcheck.plan.read import read_plan
from netcheck.rules.engine import Checked, propose_addresses
from netcheck.rules.rule import plan
from netcheck.survey.read import read_surveys

SCHEME = """[[scheme]]
kind = "drive"
range = ".100-.102"
[[scheme]]
name = "*-panel*"
range = "10.62.20.60-10.62.20.69"
[[scheme]]
place = "panel 7"
subnet = "packing"
range = ".20-.29"
"""
PACKING = '[[subnet]]\nname = "packing"\nprefix = "10.62.30.0/23"\n'


def device(name: str, keys: str = "", *, kind: str = "", place: str = "", subnet: str = "process") -> str:
    """Return a device with a kind and a place."""
    head = f'[[device]]\nname = "{name}"\nkind = "{kind}"\nplace = "{place}"\n'
    return f'{head}[[device.interface]]\nname = "lan"\nsubnet = "{subnet}"\n{keys}\n'


@pytest.fixture
def proposed(tmp_path: Path) -> Callable[..., dict[str, str]]:
    """Return a function that gives the proposed address of each device of a plan, `none` if it has none."""

    def run(*parts: str) -> dict[str, str]:
        (tmp_path / "plan.toml").write_text(plan(SCHEME, PACKING, *parts).plan, "utf-8")
        (tmp_path / "site-hosts.csv").write_text("address\n10.62.20.60\n", "utf-8")
        read = read_plan(tmp_path)
        found = propose_addresses(read, read_surveys(read), date(2026, 11, 2)).proposals
        return {one.subject.removesuffix("/lan"): str(one.address).lower() for one in found}

    return run


def test_proposals_follow_the_scheme(proposed: Callable[..., dict[str, str]]) -> None:
    """Proposals are in the range for kind, name and place; if the range is full, no other address is proposed."""
    drives = [device(f"drive-{number}", kind="Drive") for number in (1, 2, 10, 3)]
    found = proposed(*drives, device("filler-panel-1"), device("io-1", place="panel 7", subnet="packing"))
    assert found == {
        "drive-1": "10.62.20.100",
        "drive-2": "10.62.20.101",
        "drive-3": "10.62.20.102",
        "drive-10": "none",
        "filler-panel-1": "10.62.20.61",
        "io-1": "10.62.30.20",
    }


def test_other_devices_stay_out_of_the_ranges(proposed: Callable[..., dict[str, str]]) -> None:
    """Forty devices without a scheme get addresses outside all ranges of the scheme."""
    found = proposed(*(device(f"plc-{number}", kind="controller") for number in range(40)))
    octets = {int(address.rpartition(".")[2]) for address in found.values()}
    assert len(octets) == 40
    assert not octets & {*range(60, 70), *range(100, 103)}


@pytest.mark.parametrize(
    ("text", "broken"),
    [
        (device("drive-1", 'address = "10.62.20.61"', kind="drive"), True),
        (device("drive-1", 'address = "10.62.20.101"', kind="drive"), False),
        (device("drive-1", 'address = "10.62.31.101"', kind="drive", subnet="packing"), False),
        (device("plc-1", 'address = "10.62.20.61"', kind="controller"), False),
        (device("filler-panel-1", 'address = "10.62.20.70"'), True),
        (device("io-1", 'address = "10.62.20.20"', place="Panel 7"), False),
        (device("io-1", 'address = "10.62.30.30"', place="Panel 7", subnet="packing"), True),
    ],
)
def test_an_address_outside_the_scheme_is_a_risk(text: str, broken: bool, checked: Callable[..., Checked]) -> None:
    """Each criterion is compared without case, and a range of another subnet does not apply."""
    found = checked(plan(SCHEME, PACKING, text).plan).findings
    assert [(finding.rule, finding.severity.value) for finding in found] == ([("outside-scheme", "risk")] * broken)


@pytest.mark.parametrize("text", [".300-.310", ".20-.10", "drives", ""])
def test_a_range_that_cannot_be_read_is_a_finding_or_refused(text: str, checked: Callable[..., Checked]) -> None:
    """An unreadable range is `unreadable-value`; an empty one is a structural fault."""
    example = plan(f'[[scheme]]\nkind = "drive"\nrange = "{text}"')
    if text:
        assert [finding.rule for finding in checked(example.plan).findings] == ["unreadable-value"]
    else:
        with pytest.raises(PlanError):
            checked(example.plan)


def test_a_scheme_for_an_unknown_subnet_is_refused(checked: Callable[..., Checked]) -> None:
    """The message names the scheme and suggests the subnet."""
    with pytest.raises(PlanError, match="proces"):
        checked(plan('[[scheme]]\nkind = "drive"\nrange = ".1-.9"\nsubnet = "proces"').plan)


def test_a_machines_own_island_needs_no_survey(checked: Callable[..., Checked]) -> None:
    """An island of the site needs one."""
    skid = '[[subnet]]\nname = "skid"\nprefix = "192.168.10.0/24"\nisland = "machine-1"\n'
    text = (skid, device("plc", 'address = "192.168.10.5"', subnet="skid"))
    own = '[[island]]\nname = "machine-1"\nsite = false\n'
    assert [finding.rule for finding in checked(plan(*text).plan).findings] == ["not-surveyed"]
    assert checked(plan(own, *text).plan).findings == ()
