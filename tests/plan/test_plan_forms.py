"""Every table of a plan is the same in TOML and in a workbook; files of other kinds are refused."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from netcheck.errors import PlanError
from netcheck.plan.model import Plan, Position
from netcheck.plan.read import read_plan

TOML = """format = 1
[site]
name = "Filler line"
revision = "C"
keep-clear = 4
survey-max-age = 20
crowded = 0.7
domain = "plant.example"
contact = "Line integration, extension 118"
[[subnet]]
name = "packing"
prefix = "10.62.30.0/24"
gateway = "10.62.30.1"
vlan = 630
pools = ["10.62.30.180-10.62.30.219"]
reserved = ["10.62.30.2", "10.62.30.4-10.62.30.9"]
[[subnet]]
name = "inside"
prefix = "192.168.10.0/24"
island = "machine-1"
[[subnet]]
name = "six"
prefix = "2001:db8:0:30::/64"
gateway = "fe80::1"
[[device]]
name = "filler-plc"
kind = "controller"
place = "3"
  [[device.interface]]
  name = "cpu"
  slot = 1
  subnet = "packing"
  address = "10.62.30.70"
  mask = "255.255.255.0"
  gateway = "10.62.30.1"
  mac = "00-00-5E-00-53-30"
  host-name = "filler-plc"
  switch-port = "sw-2/2"
  ports = ["1", "2"]
  granted = "site IT"
  address6 = "2001:db8:0:30::70"
  mask6 = "/64"
  gateway6 = "fe80::1"
  subnet6 = "six"
[[device]]
name = "capper"
  [[device.interface]]
  name = "lan"
  subnet = "inside"
  address = "192.168.10.072"
  behind = "filler-plc/cpu:2"
[[router]]
name = "r"
interfaces = ["10.62.30.1/24", "10.62.20.1/24"]
routes = [{ to = "0.0.0.0/0", via = "10.62.20.9" }, { to = "10.0.0.0/8", via = "10.62.20.8" }]
[[router]]
name = "skid-router"
interfaces = ["192.168.10.1/24"]
island = "machine-1"
[[translation]]
outside = "10.62.30.61"
inside = "192.168.10.72"
island = "machine-1"
at = "skid-router"
[[conversation]]
from = "capper/lan"
to = "filler-plc/cpu"
why = "speed"
[[island]]
name = "machine-1"
site = false
[[island]]
name = "cell-2"
[[scheme]]
range = "10.62.30.100-10.62.30.149"
kind = "drive"
[[station]]
name = "laptop"
address = "10.62.30.245/24"
[[survey]]
file = "hosts.csv"
kind = "csv"
taken = 2026-10-28
covers = ["10.62.30.0/24", "10.62.20.0/24"]
columns = { address = "IP Addr.", mac = "HW" }
[[accepted]]
rule = "too-near"
subject = "filler-plc/cpu"
by = "site IT"
because = "moved soon"
until = 2026-12-31
with = "10.62.30.71"
[[remark]]
rule = "too-near"
subject = "filler-plc/cpu"
decision = "question"
by = "site IT"
remark = "since when?"
decided = 2026-10-30
reply = "since 2019"
[[granted]]
kind = "DNS record"
subject = "filler-plc/cpu"
address = "10.62.30.70"
what = "filler-plc.plant.example. 3600 IN A 10.62.30.70"
by = "site IT"
ticket = "CHG-118"
"""
HOSTS = "IP Addr.;HW\n10.62.30.71;00-00-5E-00-53-31\n"
LAN = {"device": "capper", "interface": "lan", "subnet": "inside", "address": "192.168.10.072"}
CPU = {
    "device": "filler-plc",
    "kind": "controller",
    "place": 3.0,
    "interface": "cpu",
    "slot": 1,
    "subnet": "packing",
    "address": "10.62.30.70",
    "mask": "255.255.255.0",
    "gateway": "10.62.30.1",
    "mac": "00-00-5E-00-53-30",
    "host-name": "filler-plc",
    "switch-port": "sw-2/2",
    "ports": "1 2",
    "granted": "site IT",
    "address6": "2001:db8:0:30::70",
    "mask6": "/64",
    "gateway6": "fe80::1",
    "subnet6": "six",
}
SITE = {"name": "Filler line", "revision": "C", "keep-clear": 4, "survey-max-age": 20.0, "crowded": 0.7}
PACKING = {"name": "packing", "prefix": "10.62.30.0/24", "gateway": "10.62.30.1", "vlan": 630}
SHEETS: dict[str, list[dict[str, Any]]] = {
    "site": [
        {"key": key, "value": value}
        for key, value in {**SITE, "domain": "plant.example", "contact": "Line integration, extension 118"}.items()
    ],
    "subnets": [
        {**PACKING, "pools": "10.62.30.180 - 10.62.30.219", "reserved": "10.62.30.2; 10.62.30.4-10.62.30.9"},
        {"name": "inside", "prefix": "192.168.10.0/24", "island": "machine-1"},
        {"name": "six", "prefix": "2001:db8:0:30::/64", "gateway": "fe80::1"},
    ],
    "interfaces": [CPU, {**LAN, "behind": "filler-plc/cpu:2"}],
    "routers": [
        {
            "name": "r",
            "interfaces": "10.62.30.1/24 10.62.20.1/24",
            "routes": "0.0.0.0/0 via 10.62.20.9; 10.0.0.0/8 via 10.62.20.8",
        },
        {"name": "skid-router", "interfaces": "192.168.10.1/24", "island": "machine-1"},
    ],
    "translations": [{"outside": "10.62.30.61", "inside": "192.168.10.72", "island": "machine-1", "at": "skid-router"}],
    "conversations": [{"from": "capper/lan", "to": "filler-plc/cpu", "why": "speed"}],
    "islands": [{"name": "machine-1", "site": False}, {"name": "cell-2"}],
    "schemes": [{"range": "10.62.30.100-10.62.30.149", "kind": "drive"}],
    "stations": [{"name": "laptop", "address": "10.62.30.245/24"}],
    "surveys": [
        {
            "file": "hosts.csv",
            "kind": "csv",
            "taken": datetime(2026, 10, 28),
            "covers": "10.62.30.0/24; 10.62.20.0/24",
            "columns": "address = IP Addr.; mac = HW",
        }
    ],
    "accepted": [
        {
            "rule": "too-near",
            "subject": "filler-plc/cpu",
            "by": "site IT",
            "because": "moved soon",
            "until": date(2026, 12, 31),
            "with": "10.62.30.71",
        }
    ],
    "remarks": [
        {
            "rule": "too-near",
            "subject": "filler-plc/cpu",
            "decision": "question",
            "by": "site IT",
            "remark": "since when?",
            "decided": date(2026, 10, 30),
            "reply": "since 2019",
        }
    ],
    "granted": [
        {
            "kind": "DNS record",
            "subject": "filler-plc/cpu",
            "address": "10.62.30.70",
            "what": "filler-plc.plant.example. 3600 IN A 10.62.30.70",
            "by": "site IT",
            "ticket": "CHG-118",
        }
    ],
}
TABLES = [
    each.name
    for each in fields(Plan)
    if each.name not in ("slug", "folder", "sha256", "files", "position", "other_sheets")
]


def folder(path: Path) -> Path:
    """Return a folder with the plan as TOML and its survey."""
    (path / "plan.toml").write_text(TOML, "utf-8")
    (path / "hosts.csv").write_text(HOSTS, "utf-8")
    return path


def workbook(path: Path, sheets: dict[str, list[dict[str, Any]]]) -> Path:
    """Write a workbook of these rows; all sheets but `site` have a merged heading and an empty row above the titles."""
    made = openpyxl.Workbook()
    made.remove(made.worksheets[0])
    for title, rows in sheets.items():
        sheet = made.create_sheet(title)
        titles = list(dict.fromkeys(key for row in rows for key in row))
        if title != "site":
            sheet.append([f"{title} of the filler line"])
            sheet.merge_cells("A1:B1")
            sheet.append([])
        sheet.append(titles)
        for row in rows:
            sheet.append([row.get(key) for key in titles])
    made.worksheets[2].sheet_state = "hidden"
    made.save(path)
    return path


def plain(value: Any) -> Any:
    """Return a part of the model as plain values, without positions."""
    if isinstance(value, Position):
        return None
    if is_dataclass(value):
        return {each.name: plain(getattr(value, each.name)) for each in fields(value)}
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        return {key: plain(inner) for key, inner in value._asdict().items()}
    return [plain(one) for one in value] if isinstance(value, tuple | list) else value


@pytest.mark.parametrize("table", TABLES)
def test_a_workbook_is_the_same_plan(table: str, tmp_path_factory: pytest.TempPathFactory) -> None:
    """Both forms give the same model; the sheets have headings and one sheet is hidden."""
    path = tmp_path_factory.mktemp("plan")
    typed = read_plan(folder(path))
    again = read_plan(workbook(path / "filler.xlsx", SHEETS))
    assert plain(getattr(typed, table)) == plain(getattr(again, table))
    assert getattr(typed, table)


@pytest.mark.parametrize(
    ("value", "text"),
    [(10.1, "10.1"), (1062030070, "1062030070"), (datetime(2020, 6, 10), "2020-06-10"), (True, "true")],
    ids=["number", "without-points", "date", "truth"],
)
def test_an_address_that_a_spreadsheet_changed_is_unreadable(tmp_path: Path, value: object, text: str) -> None:
    """A number, a date or a truth value is never read as another address."""
    sheets: dict[str, list[dict[str, Any]]] = {**SHEETS, "interfaces": [{**CPU, "address": value}, LAN]}
    plan = read_plan(workbook(folder(tmp_path) / "filler.xlsx", sheets))
    address = plan.interfaces[0].address
    assert address is not None
    assert (address.value, address.text) == (None, text)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("plan.toml", "it is a workbook with another extension. Give it a name that ends in .xlsx"),
        ("filler.xlsm", "this is not a plan. Save it as .xlsx, without macros"),
        ("filler.csv", "this is not a plan. A plan is a folder with plan.toml, or a file ending in .toml or .xlsx"),
    ],
)
def test_a_workbook_by_another_name(tmp_path: Path, name: str, words: str) -> None:
    """The message says what to do."""
    (tmp_path / name).write_bytes(workbook(tmp_path / "filler.xlsx", SHEETS).read_bytes())
    with pytest.raises(PlanError) as caught:
        read_plan(tmp_path / name)
    assert words in str(caught.value)


def test_a_workbook_in_the_place_of_a_table(tmp_path: Path) -> None:
    """A workbook is refused as a CSV table, whatever its extension."""
    (folder(tmp_path) / "plan.toml").write_text('format = 1\ninterfaces = "i.csv"\n[site]\nname = "x"\n', "utf-8")
    (tmp_path / "i.csv").write_bytes(workbook(tmp_path / "filler.xlsx", SHEETS).read_bytes())
    with pytest.raises(PlanError, match=r"i\.csv: it is a workbook\. Save its table as CSV"):
        read_plan(tmp_path)


def test_a_text_that_is_called_a_workbook(tmp_path: Path) -> None:
    """TOML in a file whose name ends in .xlsx is refused."""
    (tmp_path / "p.xlsx").write_text(TOML, "utf-8")
    with pytest.raises(PlanError, match=r"p\.xlsx: it cannot be read as a workbook"):
        read_plan(tmp_path / "p.xlsx")
