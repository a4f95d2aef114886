"""A workbook gives the same model as a folder, and addresses can be written into it."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.comments import Comment
from openpyxl.styles import Font

from netcheck.addr import Address
from netcheck.errors import NetcheckError, PlanError
from netcheck.plan.model import Interface, Position, SurveyEntry
from netcheck.plan.read import read_plan
from netcheck.plan.write.addresses import with_addresses
from netcheck.survey.read import read_survey, read_surveys
from tests.plans import write_workbook

DEMO = Path(__file__).parents[2] / "plans" / "tarn-hollow-mended"
Rows = list[list[Any]]
Sheets = dict[str, Rows]

SITE: Rows = [["key", "value"], ["name", "Filler line"], ["revision", "C"], ["keep-clear", 4], ["crowded", 0.7]]
SUBNETS: Rows = [
    ["name", "prefix", "gateway", "vlan", "pools", "reserved"],
    ["packing", "10.62.30.0/24", "10.62.30.1", 630, "10.62.30.180 - 10.62.30.219", "10.62.30.2; 10.62.30.4-10.62.30.9"],
]
INTERFACES: Rows = [
    ["device", "kind", "place", "interface", "slot", "subnet", "address", "mac", "ports"],
    ["filler-plc", "controller", "filler", "cpu", 1.0, "packing", "10.62.30.70", "00-00-5E-00-53-30", "1 2"],
    [],
    ["capper", "drive", None, "lan", None, "packing", "10.62.30.072", None, 1],
]
SHEETS: Sheets = {
    "site": SITE,
    "Subnets": SUBNETS,
    "interfaces": INTERFACES,
    "site hosts": [["address", "mac", "name"], ["10.62.30.42", "00-00-5E-00-53-AA", "gate-cam"]],
    "conversations": [
        ["from", "to", "why", "services"],
        ["capper/lan", "filler-plc/cpu", "speed", "TCP 502; udp 34964"],
    ],
    "routers": [["name", "interfaces", "routes"], ["r", "10.62.30.1/24 10.62.20.1/24", "0.0.0.0/0 via 10.62.20.9"]],
    "stations": [["name", "address"], ["laptop", "10.62.30.245/24"]],
    "surveys": [["file", "taken", "covers"], ["site hosts", datetime(2026, 10, 28), "10.62.30.0/24"]],
    "accepted": [["rule", "subject", "by", "because"], ["too-near", "capper/lan", "site IT", "moved soon"]],
}


def problems_of(path: Path) -> list[str]:
    """Return the problems of a plan, which must have some."""
    with pytest.raises(PlanError) as caught:
        read_plan(path)
    return [str(problem) for problem in caught.value.problems]


def test_every_sheet_is_read(tmp_path: Path) -> None:
    """Numbers and days are in cells of their types; a list is in one cell."""
    plan = read_plan(write_workbook(tmp_path / "filler.xlsx", SHEETS))
    assert (plan.name, plan.slug, plan.revision, plan.keep_clear, plan.crowded) == (
        "Filler line",
        "filler",
        "C",
        4,
        0.7,
    )
    assert (plan.subnets[0].vlan, [cell.text for cell in plan.subnets[0].reserved]) == (
        630,
        ["10.62.30.2", "10.62.30.4-10.62.30.9"],
    )
    cpu, lan = plan.interfaces
    assert (cpu.subject, cpu.slot, cpu.ports, lan.ports) == ("filler-plc/cpu", "1", ("1", "2"), ("1",))
    assert lan.address is not None
    assert (lan.address.value, str(lan.address.position)) == (None, "filler.xlsx: sheet interfaces, row 4")
    assert plan.conversations[0].target == "filler-plc/cpu"
    assert [one.casefold() for one in plan.conversations[0].services] == ["tcp 502", "udp 34964"]
    assert [cell.text for cell in plan.routers[0].interfaces] == ["10.62.30.1/24", "10.62.20.1/24"]
    assert plan.routers[0].routes[0].via.value == Address.from_text("10.62.20.9")
    assert plan.stations[0].address.text == "10.62.30.245/24"
    assert plan.accepted[0].because == "moved soon"
    assert (plan.surveys[0].taken, plan.surveys[0].covers[0].text) == (date(2026, 10, 28), "10.62.30.0/24")


def test_its_site_hosts_are_a_survey(tmp_path: Path) -> None:
    """The sheet is read like any other survey, and its hosts have positions."""
    (survey,) = read_surveys(read_plan(write_workbook(tmp_path / "filler.xlsx", SHEETS)))
    (host,) = survey.hosts
    assert (str(host.address), host.name, host.where) == (
        "10.62.30.42",
        "gate-cam",
        "filler.xlsx, sheet site hosts: row 2",
    )
    bare = {name: rows for name, rows in SHEETS.items() if name != "surveys"}
    (survey,) = read_surveys(read_plan(write_workbook(tmp_path / "bare.xlsx", bare)))
    assert (len(survey.hosts), survey.taken, survey.covers) == (1, None, ())


def placeless(interface: Interface) -> Interface:
    """Return the interface with the same position in all its cells."""
    position = Position("")
    cells = ("address", "mask", "gateway", "mac", "host_name", "switch_port")
    moved = {name: cell._replace(position=position) for name in cells if (cell := getattr(interface, name)) is not None}
    return interface._replace(position=position, **moved)


def test_the_demo_plan_as_a_workbook_is_the_same_plan(tmp_path: Path) -> None:
    """All three forms give the same model, except for positions."""
    plan = read_plan(DEMO)
    more = ["mask", "gateway", "mac", "host-name", "switch-port", "ports", "behind"]
    titles = ["device", "kind", "place", "interface", "slot", "subnet", "address", *more]
    rows = [
        [one.device, one.kind, one.location, one.name, one.slot, one.subnet]
        + [cell.text if cell else None for cell in (one.address, one.mask, one.gateway, one.mac)]
        + [cell.text if cell else None for cell in (one.host_name, one.switch_port)]
        + [" ".join(one.ports), one.behind]
        for one in plan.interfaces
    ]
    subnets = [
        [one.name, one.prefix.text, one.gateway.text if one.gateway else None, one.vlan]
        + [" ".join(cell.text for cell in cells) for cells in (one.pools, one.reserved)]
        for one in plan.subnets
    ]
    sheets: Sheets = {"site": SITE, "subnets": [SUBNETS[0], *subnets], "interfaces": [titles, *rows]}
    again = read_plan(write_workbook(tmp_path / "demo.xlsx", sheets))
    assert list(map(placeless, again.interfaces)) == list(map(placeless, plan.interfaces))
    assert [one.prefix.value for one in again.subnets] == [one.prefix.value for one in plan.subnets]
    assert [[cell.value for cell in one.reserved] for one in again.subnets] == [
        [cell.value for cell in one.reserved] for one in plan.subnets
    ]


def test_sheets_may_be_missing(tmp_path: Path) -> None:
    """A workbook that has only the sheet of subnets is a plan with the name of the file."""
    plan = read_plan(write_workbook(tmp_path / "filler.xlsx", {"subnets": SUBNETS, "sketch": [["anything"]]}))
    assert (plan.name, len(plan.subnets), plan.interfaces) == ("filler", 1, ())


def test_a_workbook_of_something_else_is_no_plan(tmp_path: Path) -> None:
    """Otherwise the check would report no conflicts although it checked nothing."""
    (found,) = problems_of(
        write_workbook(tmp_path / "list.xlsx", {"Tabelle1": [["device", "address"], ["a", "10.62.30.7"]]})
    )
    assert found.startswith("list.xlsx: none of its sheets is a table of a plan. Call its sheets site, site hosts, ")


def test_all_faults_with_sheet_and_row(tmp_path: Path) -> None:
    """Faults in titles, cells, references and names of sheets are reported."""
    sheets: Sheets = {
        "site": [["name", "x"], ["keep-cleer", 4]],
        "subnets": [["name", "prefix", "vlan"], ["packing", "10.62.30.0/24", "six"]],
        "interfaces": [["device", "interface", "subnet", "adress"], ["a", "b", "pakcing", "10.62.30.7"]],
        "stations": [["name", "address"], ["laptop", None]],
        "conversation": [["from", "to"]],
    }
    found = problems_of(write_workbook(tmp_path / "p.xlsx", sheets))
    expected = [
        'p.xlsx: sheet "conversation" is not known; did you mean "conversations"?',
        'p.xlsx: sheet site: column "keep-cleer" is not known; did you mean "keep-clear"?',
        'p.xlsx: sheet subnets, row 2: column "vlan": expected a whole number, found "six"',
        'p.xlsx: sheet interfaces, row 1: column "adress" is not known; did you mean "address"?',
        'p.xlsx: sheet stations, row 2: column "address" is empty',
    ]
    assert [words for words in expected if not any(one.startswith(words) for one in found)] == []
    assert len(found) == len(expected)


def test_another_format_is_refused(tmp_path: Path) -> None:
    """The sheet `site` may name the format."""
    assert read_plan(write_workbook(tmp_path / "one.xlsx", {"site": [["format", 1], ["name", "x"]]})).name == "x"
    assert "format 2" in problems_of(write_workbook(tmp_path / "two.xlsx", {"site": [["format", 2], ["name", "x"]]}))[0]


def survey_of(path: Path, **columns: str) -> object:
    """Return a workbook read as a survey."""
    return read_survey(
        SurveyEntry(file=path.name, position=Position("plan.toml"), columns=tuple(columns.items())), path.parent
    )


def test_a_foreign_workbook_is_a_survey(tmp_path: Path) -> None:
    """Every sheet with a column of addresses is read; other sheets become remarks."""
    path = write_workbook(
        tmp_path / "list.xlsx",
        {
            "Process": [["Hosts"], ["IP Addr.", "Name"], ["10.62.20.5", "cam"], ["10.62.20.05", "bad"]],
            "Packing": [["10.62.30.5", "00005e005301"]],
            "Notes": [["Ask the porter"]],
        },
    )
    survey = read_survey(SurveyEntry(file="list.xlsx", position=Position("plan.toml")), tmp_path)
    assert [(str(host.address), host.where) for host in survey.hosts] == [
        ("10.62.20.5", "list.xlsx, sheet Process: row 3"),
        ("10.62.30.5", "list.xlsx, sheet Packing: row 1"),
    ]
    assert [str(one.position) for one in survey.skipped.first] == ["list.xlsx: sheet Process, row 4"]
    assert [str(one.position) for one in survey.addressless.first] == [
        "list.xlsx: sheet Process, row 1",
        "list.xlsx: sheet Notes",
    ]
    assert survey.kind == "xlsx"
    with pytest.raises(NetcheckError, match="none of its sheets"):
        survey_of(write_workbook(path, {"Notes": [["Ask the porter"]]}))


def test_addresses_are_written_into_a_workbook(tmp_path: Path) -> None:
    """Only the cells of addresses change; comments of cells are kept."""
    path = write_workbook(tmp_path / "filler.xlsx", SHEETS)
    workbook = openpyxl.load_workbook(path)
    workbook["interfaces"]["A2"].comment = Comment("ask first", "site IT")
    workbook["interfaces"]["A2"].font = Font(bold=True)
    workbook.save(path)
    before = [[cell.value for cell in row] for sheet in workbook.worksheets for row in sheet.iter_rows()]
    (edit,) = with_addresses(path, {"capper/lan": Address.from_text("10.62.30.72")})
    edit.write()
    after = openpyxl.load_workbook(path)
    assert after["interfaces"]["A2"].comment.text == "ask first"
    assert after["interfaces"]["A2"].font.bold
    values = [[cell.value for cell in row] for sheet in after.worksheets for row in sheet.iter_rows()]
    assert [(old, new) for old, new in zip(before, values, strict=True) if old != new] == [
        (list(INTERFACES[3]), [*INTERFACES[3][:6], "10.62.30.72", *INTERFACES[3][7:]])
    ]
    assert with_addresses(path, {"capper/lan": Address.from_text("10.62.30.72")}) == ()


def test_a_missing_column_of_addresses_is_added(tmp_path: Path) -> None:
    """It is added after the last title."""
    sheets: Sheets = {"subnets": SUBNETS, "interfaces": [["device", "interface", "subnet"], ["a", "b", "packing"]]}
    path = write_workbook(tmp_path / "p.xlsx", sheets)
    (edit,) = with_addresses(path, {"a/b": Address.from_text("10.62.30.72")})
    edit.write()
    (interface,) = read_plan(path).interfaces
    assert interface.address is not None
    assert interface.address.text == "10.62.30.72"
