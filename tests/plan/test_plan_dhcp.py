"""An interface with `address = "dhcp"` through check, suggest, requests, setting sheet and proof."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from netcheck.plan.read import read_plan
from netcheck.proof.targets import scope_of
from netcheck.report.html.setting_sheet import to_sheet
from netcheck.requests.build import asked_of
from netcheck.rules.engine import Checked, check, propose_addresses
from netcheck.survey.read import read_surveys

PLAN = """format = 1
[site]
name = "Tarn Hollow creamery"
[[subnet]]
name = "process"
prefix = "10.62.20.0/24"
[[device]]
name = "scanner"
description = "Scanner at the gate"
remark = "ordered <b>"
  [[device.interface]]
  name = "lan"
  subnet = "process"
  address = "DHCP"
  mac = "00-00-5E-00-53-01"
"""
TODAY = date(2026, 11, 2)


def checked(folder: Path) -> Checked:
    """Return the findings of the plan."""
    (folder / "plan.toml").write_text(PLAN)
    plan = read_plan(folder)
    return check(plan, read_surveys(plan), TODAY)


def test_it_is_no_interface_without_an_address(tmp_path: Path) -> None:
    """No finding asks for an address, and `suggest` proposes none."""
    found = checked(tmp_path)
    assert [one.rule for one in found.findings] == ["not-surveyed"]
    assert propose_addresses(found.plan, (), TODAY).proposals == ()


def test_it_becomes_a_request_to_it(tmp_path: Path) -> None:
    """IT gets a request for a reservation of its MAC; the address is left to IT."""
    request = asked_of(checked(tmp_path)).requests[0]
    assert (request.subject, request.address, request.mac) == ("scanner/lan", "", "00-00-5E-00-53-01")
    assert request.note == "it gets its address by DHCP: reserve one for this MAC, and return the address"


def test_the_setting_sheet_says_automatic(tmp_path: Path) -> None:
    """The sheet shows description and remark as text, and no mask or gateway to type in."""
    page = to_sheet(checked(tmp_path), TODAY).decode()
    assert "<dt>address</dt><dd>automatic (DHCP)</dd>" in page
    assert "<dt>mask</dt>" not in page
    assert "Scanner at the gate; ordered &lt;b&gt;" in page


def test_prove_asks_for_the_reserved_address(tmp_path: Path) -> None:
    """The plan must contain the reserved address before the port can be proved."""
    scope = scope_of(checked(tmp_path).plan)
    assert [target.barred for target in scope.targets] == [
        "it gets its address by DHCP: write the address that is reserved for it into the plan to prove it"
    ]
