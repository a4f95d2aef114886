"""Parts of plans that several tests write: entries of `plan.toml`, the plan of a bench, and workbooks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import openpyxl

# One subnet of documentation addresses and the laptop on it, for a bench of network namespaces (RFC 5737 section 3).
BENCH = """format = 1
[site]
name = "Bench"
[[subnet]]
name = "line"
prefix = "192.0.2.0/24"
gateway = "192.0.2.254"
[[station]]
name = "laptop"
address = "192.0.2.240/24"
"""


def device(name: str, interface: str, **values: str) -> str:
    """Return the TOML of a device with one interface; the key `host_name` stands for `host-name`."""
    rows = [f'name = "{interface}"', *(f'{key.replace("_", "-")} = "{value}"' for key, value in values.items())]
    return f'[[device]]\nname = "{name}"\n[[device.interface]]\n' + "\n".join(rows) + "\n"


def write_workbook(path: Path, sheets: Mapping[str, Sequence[Sequence[object]]]) -> Path:
    """Write a workbook of these sheets, given as rows of cells, with openpyxl's own writer; return its path."""
    made = openpyxl.Workbook()
    made.remove(made.worksheets[0])
    for title, rows in sheets.items():
        sheet = made.create_sheet(title)
        for row in rows:
            sheet.append(list(row))
    made.save(path)
    return path
