"""Makes the files of a new plan: a small plant without conflicts, with comments that say what to replace.

The workbook of a new plan has a guide, and every sheet with its titles, example rows and selection lists.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

from netcheck.plan.forms.workbook_plan import SHEETS, SITE_HOSTS
from netcheck.plan.read import PLAN_FILE
from netcheck.plan.shape_problems import keys_of
from netcheck.plan.shapes import InterfaceRow, Shape
from netcheck.text import safe

if TYPE_CHECKING:
    from openpyxl.workbook import Workbook

HOSTS_FILE = "site-hosts.csv"
TITLES = ("address", "mac", "name", "note", "seen")
PREFIX = "192.168.10.0/24"

SCHEMA_FILE = "plan.schema.json"
# The first line of a TOML file by which editors find its schema; common practice, no source.
DIRECTIVE = f"#:schema ./{SCHEMA_FILE}\n"
_PLAN = """# The plan of one site's controls network. Replace the example values with your own, then run
#     netcheck check {folder}
# `netcheck rules` lists what is checked. The first line names the schema beside this file: editors use it to complete
# keys and mark mistakes. `netcheck schema` prints it too.

format = 1
# interfaces = "interfaces.csv"    # many devices are easier to keep in a table with one row for each interface and
                                   # the columns device, kind, place, interface, slot, subnet, address, mask,
                                   # gateway, mac, host-name, switch-port, ports

[site]
name = {name}
revision = "A"
keep-clear = 2                     # the least distance, in addresses, from every host that is already there
survey-max-age = 30                # days after which a list of the site's hosts is too old

# A subnet as the site's IT has given it.
[[subnet]]
name = "process"
prefix = "{prefix}"
gateway = "192.168.10.1"
# vlan = 10
pools = ["192.168.10.200-192.168.10.239"]     # assigned by DHCP: nothing may be planned there
reserved = ["192.168.10.2-192.168.10.19"]     # kept by IT for itself

# A device, and below it each of its interfaces. An interface is called device/interface: example-plc/cpu.
[[device]]
name = "example-plc"
kind = "controller"                # controller, operator panel, drive, remote I/O, switch, server
place = "panel 1"
  [[device.interface]]
  name = "cpu"
  # slot = 1
  subnet = "process"
  address = "192.168.10.50"        # leave the line out, and `netcheck suggest` finds a free one
  mask = "255.255.255.0"           # mask and gateway as they are typed into the device
  gateway = "192.168.10.1"
  # mac = "00-00-5E-00-53-01"      # from the nameplate
  host-name = "example-plc"
  # switch-port = "sw-1/7"
  # ports = ["1", "2"]             # every connector is proved separately
  # behind = "other-plc/cpu:2"     # in a daisy chain: the port through which this interface is connected

[[device]]
name = "example-panel"
kind = "operator panel"
place = "panel 1"
  [[device.interface]]
  name = "lan"
  subnet = "process"
  address = "192.168.10.51"
  mask = "255.255.255.0"
  gateway = "192.168.10.1"
  host-name = "example-panel"

# Interfaces that must be able to communicate, in both directions.
[[conversation]]
from = "example-panel/lan"
to = "example-plc/cpu"
why = "operator screens"

# A router between subnets, if conversations cross it.
# [[router]]
# name = "site-router"
# interfaces = ["192.168.10.1/24", "192.168.20.1/24"]
# routes = [{{ to = "0.0.0.0/0", via = "192.168.20.254" }}]

# The computer that will prove the ports, with an address that IT has approved for it.
[[station]]
name = "service laptop"
address = "192.168.10.240/24"

# The hosts that are already there: ask the site's IT for its list; write when it was made and which prefixes it covers.
[[survey]]
file = "{hosts}"
taken = {today}
covers = ["{prefix}"]

# A finding that the site has agreed to live with.
# [[accepted]]
# rule = "too-near"
# subject = "example-plc/cpu"
# by = "site IT"
# because = "the neighbour is taken out of use in week 50"
# until = {year}-12-31
"""


def plan_files(folder: str, today: date) -> dict[str, str]:
    """Return the texts of a new plan's files by file name; `plan.toml` is the last."""
    rows = (TITLES, ("192.168.10.1", "", "site-router", "example: replace this list by the site's own", str(today)))
    hosts = "".join(",".join(row) + "\n" for row in rows)
    plan = _PLAN.format(
        folder=safe(folder),
        name=json.dumps(safe(folder), ensure_ascii=False),  # `safe` removes every character that TOML would escape
        prefix=PREFIX,
        hosts=HOSTS_FILE,
        today=today,
        year=today.year,
    )
    return {HOSTS_FILE: hosts, PLAN_FILE: plan}


LAST_ROW = 2000  # the last row with selection lists and text cells
KINDS = ("controller", "operator panel", "drive", "remote I/O", "switch", "server")
SURVEY_KINDS = ("csv", "xlsx", "hosts", "zone", "leases", "dhcp", "neighbours", "capture")
_DEVICE = ("device", "kind", "place")
_WIDTHS = {"because": 40, "why": 30, "note": 40, "interfaces": 40, "routes": 40, "subject": 28, "from": 28, "to": 28}

GUIDE = (
    "How to fill in this workbook",
    "Each row is one entry; keep the titles in the first row as they are. An empty cell is an unknown value.",
    "site: the site's name and the limits. subnets: prefix, gateway, VLAN, DHCP pools and reserved ranges from IT.",
    "interfaces: one row for each interface that gets an address. Replace the example row.",
    "An interface is called device/interface, for example example-plc/cpu, and its connector example-plc/cpu:1.",
    "address: if it is empty, `netcheck suggest FILE --write` writes a free one.",
    "mask, gateway: as they are typed into the device. mac: from the nameplate.",
    "site hosts: the hosts that are already there, from the site's IT. surveys: the day and the prefixes of this list.",
    "Several values in one cell (ports, pools, reserved, covers) are separated by spaces or semicolons.",
    "routes of a router: 0.0.0.0/0 via 192.168.10.254; 10.0.0.0/8 via 192.168.10.253",
    "Then run: netcheck check FILE",
)


def _rows(name: str, today: date) -> dict[str, list[dict[str, object]]]:
    """Return the example rows by sheet; they form a plan without conflicts."""
    interface = {
        "device": "example-plc",
        "kind": "controller",
        "place": "panel 1",
        "interface": "cpu",
        "subnet": "process",
        "address": "192.168.10.50",
        "mask": "255.255.255.0",
        "gateway": "192.168.10.1",
        "host-name": "example-plc",
        "ports": "1",
    }
    subnet = {
        "name": "process",
        "prefix": PREFIX,
        "gateway": "192.168.10.1",
        "pools": "192.168.10.200-192.168.10.239",
        "reserved": "192.168.10.2-192.168.10.19",
    }
    values = (("name", name), ("revision", "A"), ("keep-clear", 2), ("survey-max-age", 30))
    return {
        "site": [{"key": key, "value": value} for key, value in values],
        "subnets": [dict(subnet)],
        "interfaces": [dict(interface)],
        "stations": [{"name": "service laptop", "address": "192.168.10.240/24"}],
        "surveys": [{"file": SITE_HOSTS, "taken": today, "covers": PREFIX}],
        SITE_HOSTS: [{"address": "192.168.10.1", "name": "site-router", "note": "example", "seen": today}],
    }


def new_workbook(name: str, rules: Sequence[str], today: date) -> bytes:
    """Return the bytes of a new plan's workbook; `rules` are the rule names offered for accepted findings."""
    return workbook_of(_rows(name, today), rules)


def workbook_of(rows: Mapping[str, Sequence[Mapping[str, object]]], rules: Sequence[str]) -> bytes:
    """Return the bytes of a plan's workbook with these rows by sheet; unknown keys get columns after the known ones."""
    import openpyxl  # only for a workbook

    workbook = openpyxl.Workbook()
    _guide(workbook.worksheets[0], rules)
    titles: dict[str, Sequence[str]] = {"site": ("key", "value"), SITE_HOSTS: TITLES}
    titles |= {sheet: _titles(shape) for sheet, shape in SHEETS.items()}
    for sheet, several in rows.items():
        titles[sheet] = tuple(dict.fromkeys((*titles[sheet], *(key for row in several for key in row))))
    first = ("site", "subnets", "interfaces", SITE_HOSTS)
    last = ("stations", "surveys")
    for sheet in (*first, *(each for each in titles if each not in (*first, *last)), *last):
        _sheet(workbook, sheet, titles[sheet], rows.get(sheet, ()))
    _choices(workbook, titles, len(rules))
    workbook.active = workbook.sheetnames.index("interfaces")
    for each in workbook.worksheets:
        each.sheet_view.tabSelected = each.title == "interfaces"
    out = io.BytesIO()
    workbook.save(out)
    return out.getvalue()


def _titles(shape: type[Shape]) -> list[str]:
    """Return the titles of a sheet, the keys of a device before those of its interface."""
    keys = keys_of(shape)
    return sorted(keys, key=lambda key: _DEVICE.index(key) if shape is InterfaceRow and key in _DEVICE else len(keys))


def _guide(sheet: Any, rules: Sequence[str]) -> None:
    from openpyxl.styles import Alignment, Font

    sheet.title = "guide"
    for row, line in enumerate(GUIDE, 1):
        sheet.cell(row, 1, line).alignment = Alignment(wrap_text=True, vertical="top")
    for row, rule in enumerate(("rules", *rules), 1):
        sheet.cell(row, 3, rule)
    sheet["A1"].font = sheet["C1"].font = Font(bold=True)
    sheet.column_dimensions["A"].width, sheet.column_dimensions["C"].width = 90, 24


def _sheet(workbook: Workbook, name: str, titles: Sequence[str], rows: Iterable[Mapping[str, object]]) -> None:
    from openpyxl.styles import Font, PatternFill
    from openpyxl.utils import get_column_letter

    sheet = workbook.create_sheet(name)
    for column, title in enumerate(titles, 1):
        cell = sheet.cell(1, column, title)
        cell.data_type = "s"  # text, even if it begins like a formula
        cell.font, cell.fill = Font(bold=True), PatternFill("solid", fgColor="DDE6EE")
        sheet.column_dimensions[get_column_letter(column)].width = _WIDTHS.get(title, 18)
    sheet.freeze_panes = "A2"
    for number, row in enumerate(rows, 2):
        for key, value in row.items():
            cell = sheet.cell(number, list(titles).index(key) + 1, value)
            if isinstance(value, str):
                cell.data_type = "s"  # text, even if it begins like a formula
            cell.number_format = (
                "yyyy-mm-dd" if isinstance(value, date) else "@" if isinstance(value, str) else "General"
            )


def _choices(workbook: Workbook, titles: dict[str, Sequence[str]], rules: int) -> None:
    """Add the selection lists; a list that is not complete also accepts other values."""
    kinds, survey_kinds = (f'"{",".join(words)}"' for words in (KINDS, SURVEY_KINDS))
    lists = (
        ("interfaces", "subnet", f"subnets!$A$2:$A${LAST_ROW}", "stop", "Choose a name of the sheet `subnets`."),
        ("interfaces", "kind", kinds, "information", "Other kinds are allowed too."),
        ("surveys", "kind", survey_kinds, "stop", "If it is empty, the kind is recognised from the content."),
        ("accepted", "rule", f"guide!$C$2:$C${rules + 1}", "stop", "Choose a rule of the list on the sheet `guide`."),
    )
    for sheet, title, formula, style, words in lists:
        _choice(workbook[sheet], titles[sheet], title, type="list", formula1=formula, errorStyle=style, error=words)
    vlan = {"type": "whole", "operator": "between", "formula1": "1", "formula2": "4094", "errorStyle": "stop"}
    _choice(workbook["subnets"], titles["subnets"], "vlan", **vlan, error="A VLAN ID is a number from 1 to 4094.")
    for sheet, title in (("surveys", "taken"), ("accepted", "until"), ("accepted", "decided")):
        day = {"type": "date", "operator": "greaterThan", "formula1": "36526", "errorStyle": "stop"}
        _choice(workbook[sheet], titles[sheet], title, **day, error="Write a day, for example 2026-10-28.")


def _choice(sheet: Any, titles: Sequence[str], title: str, **rule: Any) -> None:
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    letter = get_column_letter(list(titles).index(title) + 1)
    validation = DataValidation(allow_blank=True, showErrorMessage=True, errorTitle=title, **rule)
    validation.add(f"{letter}2:{letter}{LAST_ROW}")
    sheet.add_data_validation(validation)
