"""An invented device list of the kind that integrators keep.

It has a cover, three sheets of devices in different layouts and languages, merged cells, groups and odd values.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import openpyxl

TITLE = (
    *("Betriebsmittel (BMK)", "Beschreibung", "Typ", "Einbauort", "IP-Adresse", "Subnetzmaske", "Gateway"),
    *("MAC-Adresse", "PROFINET-Name", "Switchport", "Bemerkung", "Kabel"),
)
MASK, GATEWAY = "255.255.255.0", "10.62.20.1"


def filler_rows() -> list[list[Any]]:
    """Return the sheet of the filling line: 42 rows below its titles."""
    rows: list[list[Any]] = [["Filling line"]]
    for n in range(1, 13):  # drives; only the first row names their panel
        place = "+UH2" if n == 1 else None
        rows.append([f"=F1+UH2-T{n}", f"Drive {n}", "drive", place, f"10.62.20.{100 + n}", MASK, GATEWAY, None,
                     f"drive-{n}", f"sw-2/{n}", None, f"W{n}"])  # fmt: skip
    rows += [
        ["=F1+UH1-K1", "Filler PLC", "controller", "+UH1", "10.62.20.61", MASK, GATEWAY, "00-00-5E-00-53-01",
         "filler-plc", "sw-1/1", "spare in store", "W20"],
        [None, "second port", "controller", None, "10.62.30.61", "24", "10.62.30.1", "00-00-5E-00-53-02",
         None, "sw-1/2", None, "W21"],
        ["=F1+UH1-K2", "Remote I/O", "remote I/O", "+UH1", "10.62.20.62 / 10.62.30.62", MASK, None, None, "rio", None,
         None, None],
        ["=F1+UH1-A1", "Panel", "operator panel", "+UH1", "DHCP", None, None, "00:00:5e:00:53:03", "panel", None,
         None, None],
        ["=F1+UH1-A2", "Scanner", "scanner", "+UH1", "tbd", None, None, None, "scanner", None, "ordered", None],
        ["=F1+UH1-A3", "Scale", "scale", "+UH1", None, None, None, None, None, None, None, None],
        ["=F1+UH1-A4", "Camera", "camera", "+UH1", "10.62.20.064", MASK, GATEWAY, None, None, "2026-07-01", None, None],
        ["=F1+UH1-A5", "Printer", "printer", "+UH1", "10,62,20,65", MASK, GATEWAY, None, None, None, None, None],
        [],
        ["Packing line"],
        [*TITLE],
    ]  # fmt: skip
    for n in range(1, 13):
        rows.append([f"=P1+UH3-T{n}", f"Belt {n}", "drive", "+UH3", f"10.62.30.{100 + n}", MASK, "10.62.30.1", None,
                     f"belt-{n}", None, None, None])  # fmt: skip
    rows += [
        ["=P1+UH3-K1", "Packer PLC", "controller", "+UH3", "10.62.30.70/24", None, "10.62.30.1", "n/a", "packer-plc",
         None, None, None],
        ["=P1+UH3-K2", "Robot", "controller", "+UH3", "10.62.30.71", "255.255.0.0", "10.62.30.1", None, "robot", None,
         "check mask", None],
        ["Total: 38 devices"],
    ]  # fmt: skip
    return rows


def utilities_rows() -> list[list[Any]]:
    """Return the sheet of the utilities, in English, with two address columns: 22 rows below its titles."""
    rows: list[list[Any]] = []
    for n in range(1, 21):
        second = f"192.168.5.{n}" if n <= 4 else None
        rows.append([f"U-{n:02}", f"Pump {n}", f"10.62.20.{200 + n}", second, "/24", "Utilities"])
    rows += [
        ["U-21", "Air dryer", "-", None, None, "Utilities"],
        ["U-22", "Chiller", "10.62.20.2222", None, "/24", "Utilities"],
    ]
    return rows


def supplier_rows() -> list[list[Any]]:
    """Return the sheet of a machine's supplier, in English: 9 rows below titles in two rows."""
    mask, gateway = "255.255.255.0", "10.62.30.1"
    rows: list[list[Any]] = [
        [n, f"rob-drv-{n:02}", f"X-{100 + n}", f"10.62.30.{150 + n}", mask, gateway, "SW-R", f"1/{n}", None]
        for n in range(1, 6)
    ]
    return [
        *rows,
        [6, "rob-plc", "X-200", "10.62.30.160 (changed)", mask, gateway, "SW-R", "1/6", "see mail of October"],
        [7, "rob-panel", "X-201", "10.62.30.16l", mask, gateway, "SW-R", "1/7", None],
        [8, "rob-scanner", "X-202", "via DHCP", None, None, "SW-R", "1/8", None],
        [9, "rob-gate", "X-203", "10.62.30.151", mask, gateway, "SW-R", "1/9", "address of drive 1?"],
    ]


COVER = (
    ("Project", "Filling line 4"),
    ("Drawn by", "Controls"),
    ("Network of IT", "10.62.20.0/24"),
    ("Gateway", "10.62.20.1"),
    ("Note", "addresses up to .19 are those of IT"),
)


def write(path: Path) -> Path:
    """Write the list as a workbook."""
    book = openpyxl.Workbook()
    cover = book.worksheets[0]
    cover.title = "Cover"
    for line in COVER:
        cover.append(line)
    sheet = book.create_sheet("Linie 4")
    sheet.append(["Geräteliste Linie 4, Stand 2026-10"])
    sheet.merge_cells("A1:L1")
    sheet.append([])
    sheet.append([None] * 4 + ["Netzwerk"])
    sheet.merge_cells("E3:H3")
    sheet.append([*TITLE])
    for number, row in enumerate(filler_rows(), 5):
        for column, value in enumerate(row, 1):
            cell = sheet.cell(number, column, value)
            if isinstance(value, str):
                cell.data_type = "s"  # a tag that begins with = is text
    other = book.create_sheet("Utilities")
    other.append(["Tag", "Function", "IP address PN", "IP address office", "Subnet mask", "Area"])
    for row in utilities_rows():
        other.append(row)
    supplier = book.create_sheet("Robot cell (supplier)")
    supplier.append(["Device list of the robot cell, as delivered"])
    supplier.append(["No.", "Station name", "Order no.", "Network", None, None, "Connection", None, "Comment"])
    supplier.merge_cells("D2:F2")
    supplier.append([None, None, None, "IP", "Mask", "Gateway", "Switch", "Port", None])
    for row in supplier_rows():
        supplier.append(row)
    book.create_sheet("Contacts").append(["Who", "Phone"])
    book.save(path)
    return path
