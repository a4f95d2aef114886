"""Writes the addresses in use of all subnets as CSV or as a workbook, one use a row."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence

from netcheck.plan.model import Subnet
from netcheck.report.csv_xlsx.findings import rows_to_csv
from netcheck.space.address_list import AddressUse, address_list
from netcheck.space.occupancy import Island
from netcheck.tables.formula_guard import guarded
from netcheck.text import safe

TITLES = ("subnet", "address", "use", "who", "name", "MAC", "switch port", "place", "source")
_WIDTHS = (16, 28, 18, 30, 24, 20, 14, 14, 40)  # characters


def to_csv(subnets: Sequence[Subnet], islands: Mapping[str, Island]) -> bytes:
    """Return the list as CSV; text that a spreadsheet could take for a formula is guarded."""
    return rows_to_csv(TITLES, ([guarded(cell) for cell in row] for row in _rows(subnets, islands)))


def to_xlsx(subnets: Sequence[Subnet], islands: Mapping[str, Island]) -> bytes:
    """Return the list as a workbook. Every cell is typed as text, so that no text is changed or read as a formula."""
    import openpyxl  # imported only for a workbook
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.utils import get_column_letter

    workbook = openpyxl.Workbook(write_only=True)
    sheet = workbook.create_sheet("addresses")
    sheet.freeze_panes = "A2"
    for column, width in enumerate(_WIDTHS, 1):
        sheet.column_dimensions[get_column_letter(column)].width = width
    for row in (TITLES, *_rows(subnets, islands)):
        cells = []
        for text in row:
            cell = WriteOnlyCell(sheet, text)
            cell.data_type = "s"
            cells.append(cell)
        sheet.append(cells)
    out = io.BytesIO()
    workbook.save(out)
    return out.getvalue()


def _rows(subnets: Sequence[Subnet], islands: Mapping[str, Island]) -> Iterator[tuple[str, ...]]:
    for subnet in subnets:
        for one in address_list(islands[subnet.island], subnet):
            yield tuple(safe(text, 1000) for text in (subnet.name, *_cells(one)))


def _cells(one: AddressUse) -> tuple[str, ...]:
    return (
        str(one.span), one.use.word, one.who, one.name, one.mac, one.switch_port, one.location, one.source,
    )  # fmt: skip
