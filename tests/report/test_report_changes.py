"""Tests of the changes between two revisions: findings by their key, interfaces by their values."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from netcheck.plan.read import read_plan
from netcheck.report.build import report_of
from netcheck.report.changes import Changes, Difference, Turn, changes_of
from netcheck.report.html.page import to_html
from netcheck.report.json_report import to_json
from netcheck.report.text_report import to_markdown, to_text
from netcheck.rules.engine import Checked, check
from netcheck.survey.read import read_site, read_surveys

TODAY = date(2026, 11, 20)
HEAD = """format = 1
[site]
name = "Tarn Hollow creamery"
revision = "{revision}"
[[subnet]]
name = "process"
prefix = "10.62.20.0/24"
"""


def device(name: str, address: str, more: str = "") -> str:
    """Return the TOML of a device with one interface."""
    return (
        f'[[device]]\nname = "{name}"\n[[device.interface]]\nname = "cpu"\nsubnet = "process"\n'
        f'address = "{address}"\n{more}\n'
    )


def checked(folder: Path, revision: str, *devices: str) -> Checked:
    """Return the check of a plan of these devices."""
    folder = folder / revision
    folder.mkdir()
    (folder / "plan.toml").write_text(HEAD.format(revision=revision) + "".join(devices), "utf-8")
    plan = read_plan(folder)
    return check(plan, read_surveys(plan), TODAY)


@pytest.fixture
def changes(tmp_path: Path) -> Changes:
    """Return the changes from revision A to B.

    One conflict is resolved, one is new, one is unchanged; one device is added, one is removed, one has other
    spellings.
    """
    before = checked(
        tmp_path,
        "A",
        device("mended-plc", "10.62.21.1"),
        device("kept-plc", "10.62.20.255"),
        device("gone-plc", "10.62.20.9", 'ports = ["1", "2"]'),
        device("respelled-plc", "10.62.20.10", 'mask = "/24"\nmac = "00:00:5e:00:53:21"'),
    )
    now = checked(
        tmp_path,
        "B",
        device("mended-plc", "10.62.20.1", 'host-name = "mended"'),
        device("kept-plc", "10.62.20.255"),
        device("made-plc", "10.62.22.1"),
        device("respelled-plc", "10.62.20.10", 'mask = "255.255.255.0"\nmac = "00-00-5E-00-53-21"'),
    )
    return changes_of(before, now)


def test_findings_are_compared_by_their_key(changes: Changes) -> None:
    """Each finding is new, gone or remaining, by its key."""
    assert {(one.rule, one.subjects) for one in changes.new} == {("outside-subnet", ("made-plc/cpu",))}
    assert {(one.rule, one.subjects) for one in changes.gone} == {("outside-subnet", ("mended-plc/cpu",))}
    assert ("unusable-address", ("kept-plc/cpu",)) in {(one.rule, one.subjects) for one in changes.remaining}
    assert len(changes.remaining) + len(changes.gone) + len(changes.agreed) == len(changes.before.findings)


def test_interfaces_are_compared_by_their_values(changes: Changes) -> None:
    """Another spelling of a mask or MAC is no change; added and removed interfaces are listed with all values."""
    found = {one.subject: (one.turn, one.differences) for one in changes.interfaces}
    assert found == {
        "mended-plc/cpu": (
            Turn.CHANGED,
            (Difference("address", "10.62.21.1", "10.62.20.1"), Difference("host-name", "", "mended")),
        ),
        "made-plc/cpu": (Turn.ADDED, (Difference("subnet", "", "process"), Difference("address", "", "10.62.22.1"))),
        "gone-plc/cpu": (
            Turn.REMOVED,
            (
                Difference("subnet", "process", ""),
                Difference("address", "10.62.20.9", ""),
                Difference("ports", "1, 2", ""),
            ),
        ),
    }


def test_subnets_are_compared_too(tmp_path: Path) -> None:
    """Another gateway, pool or VLAN of a subnet is a change; another spelling of its prefix is not."""
    more = '[[subnet]]\nname = "{}"\nprefix = "{}"\n{}\n'
    six = more.format("six", "2001:DB8:20::/64", 'gateway = "fe80::1"')
    before = checked(tmp_path, "A", more.format("gone", "10.62.9.0/24", "vlan = 9"), six)
    pools = 'vlan = 621\npools = ["10.62.21.9", "10.62.21.20-10.62.21.29"]'
    now = checked(tmp_path, "B", more.format("packing", "10.62.21.0/24", pools), six.replace("DB8", "db8"))
    told = changes_of(before, now)
    assert [(one.subject, one.turn) for one in told.subnets] == [("packing", Turn.ADDED), ("gone", Turn.REMOVED)]
    assert told.subnets[0].differences == (
        Difference("prefix", "", "10.62.21.0/24"),
        Difference("vlan", "", "621"),
        Difference("island", "", "site"),
        Difference("pools", "", "10.62.21.9, 10.62.21.20-10.62.21.29"),
    )
    moved = checked(tmp_path, "C", six.replace("fe80::1", "fe80::2").replace("DB8", "db8"))
    turned = changes_of(before, moved).subnets[0]
    assert (turned.subject, turned.differences) == ("six", (Difference("gateway", "fe80::1", "fe80::2"),))
    report = report_of(moved, (), (), TODAY, before)
    assert "fe80::1 → fe80::2" in to_html(report).decode()
    for write in (to_markdown, to_text):
        assert "Subnets changed (2)" in write(report).decode()
    assert [one["subject"] for one in json.loads(to_json(report))["changes"]["subnets"]] == ["six", "gone"]


def test_a_finding_of_a_renamed_device_remains(tmp_path: Path) -> None:
    """The finding is neither new nor gone; accepted findings keep their answers."""
    entry = '[[accepted]]\nrule = "unusable-address"\nsubject = "{}/cpu"\naddress = "10.62.20.0"\nby = "IT"\n'
    entry += 'because = "a trial"\ndecided = 2026-11-02\n'
    mac = 'mac = "00-00-5E-00-53-21"'
    old = (device("a", "10.62.21.1", mac), device("b", "10.62.20.0", 'host-name = "b"'), entry.format("b"))
    new = (device("a-2", "10.62.21.1", mac), device("b-2", "10.62.20.0", 'host-name = "b"'), entry.format("b-2"))
    told = changes_of(checked(tmp_path, "A", *old), checked(tmp_path, "B", *new))
    assert [(one.rule, one.subjects) for one in (*told.new, *told.gone, *told.agreed)] == []
    assert ("outside-subnet", ("a-2/cpu",)) in {(one.rule, one.subjects) for one in told.remaining}
    assert [each.finding.subjects for each in told.answered] == [("b-2/cpu",)]
    assert [(one.subject, one.turn) for one in told.interfaces] == [
        ("a-2/cpu", Turn.RENAMED),
        ("b-2/cpu", Turn.RENAMED),
    ]


def test_a_plan_compared_with_itself_has_no_changes(tmp_path: Path) -> None:
    """All findings remain, and no interface changed."""
    one = checked(tmp_path, "A", device("kept-plc", "10.62.20.255"))
    same = changes_of(one, one)
    assert (same.new, same.gone, same.subnets, same.interfaces) == ((), (), (), ())
    assert same.remaining == one.findings


def test_an_accepted_finding_is_not_gone(tmp_path: Path) -> None:
    """If the acceptance is removed, the finding is a new open finding."""
    accepted = '[[accepted]]\nrule = "unusable-address"\nsubject = "kept-plc/cpu"\naddress = "10.62.20.255"\n'
    accepted += 'by = "IT"\nbecause = "a trial"\n'
    before = checked(tmp_path, "A", device("kept-plc", "10.62.20.255"))
    now = checked(tmp_path, "B", device("kept-plc", "10.62.20.255"), accepted)
    told = changes_of(before, now)
    assert [one.rule for one in told.agreed] == ["unusable-address"]
    assert (told.new, told.gone) == ((), ())
    back = changes_of(now, before)
    assert [one.rule for one in back.new] == ["unusable-address"]
    assert (back.gone, back.agreed) == ((), ())


def test_every_format_shows_the_changes(changes: Changes, tmp_path: Path) -> None:
    """HTML, Markdown, text and JSON show the changes, but not without an earlier revision."""
    folder = tmp_path / "now"
    folder.mkdir()
    now = checked(folder, "B", device("mended-plc", "10.62.20.1"), device("made-plc", "10.62.22.1"))
    report = report_of(now, (), (), TODAY, changes.before)
    alone = report_of(now, (), (), TODAY)
    page = to_html(report).decode()
    assert 'id="changes"' in page
    assert 'href="#changes"' in page
    assert "10.62.21.1 → 10.62.20.1" in page
    assert 'id="changes"' not in to_html(alone).decode()
    for write in (to_markdown, to_text):
        assert "Resolved findings (2)" in write(report).decode()
        assert "What changed" not in write(alone).decode()
    told = json.loads(to_json(report))["changes"]
    assert told["since"]["revision"] == "A"
    assert {one["subject"]: one["turn"] for one in told["interfaces"]} == {
        "mended-plc/cpu": "changed",
        "made-plc/cpu": "added",
        "kept-plc/cpu": "removed",
        "gone-plc/cpu": "removed",
        "respelled-plc/cpu": "removed",
    }
    assert "changes" not in json.loads(to_json(alone))


BASE = """format = 1
[site]
name = "Tarn Hollow creamery"
revision = "{revision}"
[[subnet]]
name = "process"
prefix = "10.62.20.0/24"
gateway = "10.62.20.1"
[[device]]
name = "filler-plc"
[[device.interface]]
name = "cpu"
subnet = "process"
address = "10.62.20.60"
mac = "00-00-5E-00-53-10"
[[device]]
name = "panel"
[[device.interface]]
name = "lan"
subnet = "process"
address = "10.62.20.61"
[[router]]
name = "r1"
interfaces = ["10.62.20.1/24"]
[[station]]
name = "laptop"
address = "10.62.20.250/24"
[[conversation]]
from = "panel/lan"
to = "filler-plc/cpu"
[[survey]]
file = "hosts.csv"
taken = 2026-11-18
covers = ["10.62.20.0/24"]
"""
EDITS = {
    "conversation": ('to = "filler-plc/cpu"\n', 'to = "filler-plc/cpu"\nwhy = "screens"\n'),
    "router": ('interfaces = ["10.62.20.1/24"]', 'interfaces = ["10.62.20.1/24", "10.62.21.1/24"]'),
    "station": ("10.62.20.250/24", "10.62.20.251/24"),
    "setting": ('revision = "B"', 'revision = "B"\nkeep-clear = 4'),
    "survey": ('covers = ["10.62.20.0/24"]', 'covers = ["10.62.20.0/25"]'),
    "site host": ("", ""),
    "interface": ('name = "filler-plc"\n', 'name = "filler-plc-2"\n'),
}


@pytest.mark.parametrize("one", EDITS)
def test_everything_that_changes_a_finding_or_a_request_is_listed(one: str, tmp_path: Path) -> None:
    """Conversations, routers, stations, settings, coverage, missing site hosts and renamed devices are changes."""
    texts = [BASE.format(revision=revision) for revision in "AB"]
    hosts = ["address,mac,name\n10.62.20.80,00-00-5E-00-53-90,camera\n"] * 2
    before, after = EDITS[one]
    texts[1] = texts[1].replace(before, after)
    if one == "interface":
        texts[1] = texts[1].replace('to = "filler-plc/cpu"', 'to = "filler-plc-2/cpu"')
    if one == "site host":
        hosts[1] = "address,mac,name\n"
    sites = []
    for folder, text, listing in zip(("a", "b"), texts, hosts, strict=True):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "plan.toml").write_text(text, "utf-8")
        (tmp_path / folder / "hosts.csv").write_text(listing, "utf-8")
        site = read_site(tmp_path / folder)
        sites.append((check(*site, TODAY), site.surveys))
    told = changes_of(sites[0][0], sites[1][0], sites[0][1], sites[1][1])
    (changed,) = told.of(one)
    expected = {"site host": Turn.REMOVED, "interface": Turn.RENAMED}.get(one, Turn.CHANGED)
    assert changed.turn is expected
    assert changed.differences
    report = report_of(sites[1][0], sites[1][1], (), TODAY, *sites[0])
    for write in (to_html, to_markdown, to_text):
        assert str(expected) in write(report).decode("utf-8")
    assert json.loads(to_json(report))["changes"][f"{one.replace(' ', '_')}s"]


def test_earlier_answers_are_marked(tmp_path: Path) -> None:
    """A finding that is unchanged since the answer is marked with the day of the answer."""
    entry = '[[accepted]]\nrule = "unusable-address"\nsubject = "kept-plc/cpu"\naddress = "10.62.20.255"\n'
    entry += 'by = "IT"\nbecause = "a trial"\ndecided = 2026-11-02\n'
    before = checked(tmp_path, "A", device("kept-plc", "10.62.20.255"), entry)
    now = checked(tmp_path, "B", device("kept-plc", "10.62.20.255"), entry)
    report = report_of(now, (), (), TODAY, before)
    assert [each.finding.rule for each in report.changes.answered] == ["unusable-address"]  # type: ignore[union-attr]
    for write in (to_html, to_markdown, to_text):
        assert "unchanged since your answer of 2026-11-02" in write(report).decode("utf-8").replace("\\", "")
