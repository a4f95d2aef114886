"""Tests of the IP list in reports: every format says who has which address, with description and remark."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from netcheck.report.address_list import MOST_HOSTS, address_list_to_text, address_parts
from netcheck.report.build import report_of
from netcheck.report.html.page import to_html
from netcheck.report.json_report import to_json
from netcheck.report.model import Report
from netcheck.report.text_report import to_markdown, to_text
from netcheck.rules.engine import check
from netcheck.space.occupancy import islands_of
from netcheck.survey.read import read_site

PLAN = """format = 1
[site]
name = "Example"
[[subnet]]
name = "process"
prefix = "10.62.20.0/22"
gateway = "10.62.20.1"
[[subnet]]
name = "later"
prefix = "10.62.30.0/24"
[[device]]
name = "filler-plc"
place = "+UH1"
description = "fills bottles"
[[device.interface]]
name = "cpu"
subnet = "process"
address = "10.62.20.61"
mac = "00-00-5E-00-53-21"
switch-port = "sw-1/7"
remark = "spare in store"
[[survey]]
file = "hosts.csv"
"""
DAY = date(2026, 11, 2)


def report_with(folder: Path, hosts: int) -> Report:
    """Return the report on the plan with some site hosts from 10.62.21.0 on."""
    (folder / "plan.toml").write_text(PLAN, "utf-8")
    rows = "".join(f"10.62.{21 + n // 256}.{n % 256},camera-{n}\n" for n in range(hosts)).replace("\\\n", "\n")
    (folder / "hosts.csv").write_text("address,name\n" + rows, "utf-8")
    plan, surveys = read_site(folder)
    return report_of(check(plan, surveys, DAY), surveys, (), DAY)


@pytest.mark.parametrize("write", [to_text, to_markdown, to_html, to_json], ids=["text", "markdown", "html", "json"])
def test_every_format_has_the_address_list(write: object, tmp_path: Path) -> None:
    """The list has address, device, MAC, switch port, place, description and remark, and the hosts of the site."""
    assert callable(write)
    text = write(report_with(tmp_path, 2)).decode("utf-8").replace("\\", "")
    for words in (
        *("10.62.20.61", "filler-plc/cpu", "00-00-5E-00-53-21", "sw-1/7", "+UH1", "fills bottles", "spare in store"),
        *("camera-1", "10.62.20.1"),
    ):
        assert words in text


def test_a_report_lists_a_limited_number_of_hosts(tmp_path: Path) -> None:
    """The title says how many are left out, and planned interfaces are all listed."""
    report = report_with(tmp_path, MOST_HOSTS + 20)
    process, later = address_parts(report)
    assert process.title == "process, 10.62.20.0/22; 20 more site hosts are not listed here"
    assert process.size == MOST_HOSTS + 2
    assert (later.title, later.size) == ("later, 10.62.30.0/24", 0)
    shape = json.loads(to_json(report))["addresses"]
    assert [(one["subnet"], len(one["uses"]), one["left_out"]) for one in shape] == [
        ("process", MOST_HOSTS + 2, 20),
        ("later", 0, 0),
    ]
    assert shape[0]["uses"][1] == {
        "address": "10.62.20.61",
        "use": "planned",
        "who": "filler-plc/cpu",
        "mac": "00-00-5E-00-53-21",
        "switch_port": "sw-1/7",
        "place": "+UH1",
        "source": "plan.toml line 15: device filler-plc, interface cpu",
        "description": "fills bottles",
        "remark": "spare in store",
    }


@pytest.mark.parametrize("width", [66, 80, 100])
def test_no_address_is_broken_on_a_narrow_terminal(width: int, tmp_path: Path) -> None:
    """Address, use and holder stand in columns, and other values in the lines below."""
    report = report_with(tmp_path, 3)
    lines = address_list_to_text(report.plan.subnets, islands_of(report.plan, report.surveys), width).splitlines()
    assert max(map(len, lines)) <= width
    at = next(at for at, line in enumerate(lines) if line.startswith("10.62.20.61  "))
    below = " ".join(line.strip() for line in lines[at + 1 : at + 4])
    assert "filler-plc/cpu" in lines[at]
    assert below.startswith("MAC 00-00-5E-00-53-21, switch port sw-1/7, place +UH1, source plan.toml")
    wide = address_list_to_text(report.plan.subnets, islands_of(report.plan, report.surveys), 0).splitlines()
    assert any(line.startswith("10.62.20.61  ") and line.endswith("spare in store") for line in wide)
