"""Tests of the setting sheet: values to type in, devices that must not be set, labels, and received text as text."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest

from netcheck.plan.read import read_plan
from netcheck.report.html.setting_sheet import blocks_of, to_sheet
from netcheck.rules.engine import Checked, check
from netcheck.survey.read import read_surveys

TODAY = date(2026, 11, 20)
PLAN = """format = 1
[site]
name = "Tarn Hollow creamery"
[[subnet]]
name = "process"
prefix = "10.62.20.0/25"
gateway = "10.62.20.1"
vlan = 620
[[subnet]]
name = "six"
prefix = "2001:db8:20::/64"
gateway = "fe80::1"
[[device]]
name = "filler-plc"
kind = "controller"
place = "panel 3"
[[device.interface]]
name = "cpu"
slot = 2
subnet = "process"
address = "10.62.20.61"
address6 = "2001:db8:20::61"
mac = "00-00-5E-00-53-21"
host-name = "filler-plc"
switch-port = "sw-1/3"
ports = ["1", "X2"]
[[device.interface]]
name = "link"
subnet = "process"
address = "10.62.20.127"
mask = "/24"
gateway = "10.62.20.9"
[[device]]
name = "panel"
[[device.interface]]
name = "lan"
subnet = "process"
"""


def checked(folder: Path, text: str = PLAN) -> Checked:
    """Return the check of a plan."""
    (folder / "plan.toml").write_text(text, "utf-8")
    plan = read_plan(folder)
    return check(plan, read_surveys(plan), TODAY)


def test_each_device_has_its_values(tmp_path: Path) -> None:
    """A device has its own values, or marked values of the subnet.

    A mask has both spellings (RFC 4632 section 3.1).
    """
    filler, panel = blocks_of(checked(tmp_path))
    assert (filler.device, filler.kind, filler.where) == ("filler-plc", "controller", "panel 3")
    cpu, link = filler.faces
    told = [(one.name, one.value, one.from_subnet) for one in cpu.settings if one.name not in ("subnet", "VLAN")]
    assert told == [
        ("address", "10.62.20.61", False),
        ("mask", "255.255.255.128 (/25)", True),
        ("gateway", "10.62.20.1", True),
        ("address (IPv6)", "2001:db8:20::61", False),
        ("prefix length", "/64", True),
        ("gateway (IPv6)", "fe80::1", True),
        ("host name", "filler-plc", False),
        ("switch port", "sw-1/3", False),
        ("MAC on the nameplate", "00-00-5E-00-53-21", False),
    ]
    assert cpu.stops == ()
    typed = {one.name: (one.value, one.from_subnet) for one in link.settings}
    assert typed["mask"] == ("255.255.255.0 (/24)", False)
    assert typed["gateway"] == ("10.62.20.9", False)
    assert any(stop.startswith("unusable-address: ") for stop in link.stops)
    assert not panel.faces[0].placed


def test_labels_are_only_for_connectors_that_may_be_set(tmp_path: Path) -> None:
    """Each connector has a label, unless a conflict is open or no address is planned; equal input gives equal bytes."""
    found = checked(tmp_path)
    page = to_sheet(found, TODAY).decode()
    assert re.findall(r'class="label"><b>([^<]*)</b>', page) == ["filler-plc/cpu:1", "filler-plc/cpu:X2"]
    assert page.count("<dt>initials</dt>") == page.count("<dt>date</dt>") == 3
    assert "Do not set link as drafted:" in page
    assert "A pulled network cable isolates nothing" in page.replace("&#39;", "'")
    assert to_sheet(found, TODAY) == page.encode()


def test_a_failed_conversation_stops_the_end_that_must_change(tmp_path: Path) -> None:
    """Only the panel with the wide mask must not be set, not its controller.

    If a router lacks the route, both may be set.
    """
    far = PLAN + 'address = "10.62.20.62"\nmask = "/16"\n[[subnet]]\nname = "packing"\nprefix = "10.62.30.0/24"\n'
    far += 'gateway = "10.62.30.1"\n[[device]]\nname = "server"\n[[device.interface]]\nname = "lan"\n'
    far += 'subnet = "packing"\naddress = "10.62.30.9"\n[[router]]\nname = "site-router"\ninterfaces = [LINKS]\n'
    far += "".join(f'[[conversation]]\nfrom = "{end}"\nto = "server/lan"\n' for end in ("panel/lan", "filler-plc/cpu"))
    both = checked(tmp_path, far.replace("LINKS", '"10.62.20.1/25", "10.62.30.1/24"'))
    told = {block.device: {stop.partition(":")[0] for stop in block.faces[0].stops} for block in blocks_of(both)}
    assert told == {"filler-plc": set(), "panel": {"mask-differs", "no-way-there"}, "server": set()}
    alone = checked(tmp_path, far.replace("LINKS", '"10.62.20.1/25"').replace('mask = "/16"', ""))
    assert [one.rule for one in alone.findings].count("no-way-there") == 2
    assert [block.faces[0].stops for block in blocks_of(alone)] == [(), (), ()]


HOSTILE = (
    "<script>alert(1)</script>",
    '" onmouseover="x',
    "\\u001b]0;owned\\u0007",
    "\\u202eabc",
    "{{ 7*7 }}",
    "x" * 9999,
)


@pytest.mark.parametrize("bad", HOSTILE)
def test_received_text_stays_text(bad: str, tmp_path: Path) -> None:
    """Names with markup, controls, bidirectional marks and template marks stay text (OWASP, XSS Prevention)."""
    quoted = bad.replace('"', '\\"') if '"' in bad else bad
    text = PLAN.replace('"panel 3"', f'"{quoted}"').replace('name = "panel"', f'name = "p{quoted[:200]}"')
    page = to_sheet(checked(tmp_path, text), TODAY).decode()
    assert "<script" not in page
    assert not re.search(r'<[^>]* onmouseover="', page)
    assert not re.search("[\x00-\x09\x0b-\x1f\u202e]", page)
    assert "default-src 'none'" in page


def test_a_device_gets_one_gateway(tmp_path: Path) -> None:
    """If the plan gives a device a gateway in one subnet, the gateway of another subnet is not added."""
    text = PLAN.replace('name = "link"\nsubnet = "process"', 'name = "link"\nsubnet = "plant"').replace(
        "[[device]]", '[[subnet]]\nname = "plant"\nprefix = "10.62.21.0/24"\ngateway = "10.62.21.1"\n[[device]]', 1
    )
    faces = {face.interface.subject: face for block in blocks_of(checked(tmp_path, text)) for face in block.faces}
    gateways = {
        subject: [(one.value, one.from_subnet) for one in face.settings if one.name == "gateway"]
        for subject, face in faces.items()
    }
    assert gateways["filler-plc/link"] == [("10.62.20.9", False)]
    assert gateways["filler-plc/cpu"] == [("", False)]
    assert gateways["panel/lan"] == [("10.62.20.1", True)]


def test_accepted_conflicts_are_on_the_sheet(tmp_path: Path) -> None:
    """A broadcast address stays forbidden even if it is accepted; other accepted conflicts are listed."""
    entry = '[[accepted]]\nrule = "{}"\nsubject = "filler-plc/link"\naddress = "10.62.20.127"\n'
    entry += 'by = "site IT"\nbecause = "known"\n'
    text = PLAN + entry.format("unusable-address") + entry.format("mask-differs")
    (face,) = [
        face for block in blocks_of(checked(tmp_path, text)) for face in block.faces if face.interface.name == "link"
    ]
    assert any(stop.startswith("unusable-address: ") for stop in face.stops)
    assert any(one.endswith("accepted by site IT: known") for one in face.accepted)
    page = to_sheet(checked(tmp_path, text), TODAY).decode("utf-8")
    assert "Accepted conflicts of link:" in page
    assert "2 accepted, 2 of them conflicts" in page


def test_further_columns_of_a_table_are_on_the_sheet(tmp_path: Path) -> None:
    """The columns stand with their titles below description and remark, and their values are always text."""
    (tmp_path / "i.csv").write_text(
        "device,interface,subnet,description,Cable,Cost <b>\nplc,cpu,process,main,W 12,<i>5</i>\nhmi,lan,process,,,\n"
    )
    text = PLAN.split("[[device]]")[0].replace("[site]", 'interfaces = "i.csv"\n[site]', 1)
    page = to_sheet(checked(tmp_path, text), TODAY).decode("utf-8")
    assert "Cable: W 12; Cost &lt;b&gt;: &lt;i&gt;5&lt;/i&gt;" in page
    assert page.count("Cable:") == 1
