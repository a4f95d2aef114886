"""Writes accepted findings into a workbook's sheet `accepted`; refused where another part of it would be lost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from netcheck.plan.csv_form import title_of
from netcheck.plan.workbook import cell_text
from netcheck.plan.workbook_writing import saved, workbook_from

SHEET = "accepted"
IDENTITY = ("rule", "subject", "address", "with")  # the keys that say which finding is meant
VALUES = ("by", "because", "until")  # and those that say what was agreed


def workbook_with_accepted(data: bytes, rows: Sequence[Mapping[str, Any]]) -> bytes:
    """The bytes of a workbook with these entries, its own bytes where it holds them already; ValueError where it could
    not be written without losing something."""
    workbook = workbook_from(data)
    sheet = next((each for each in workbook.worksheets if each.title.casefold().strip() == SHEET), None)
    layout = _layout_of(workbook.create_sheet(SHEET) if sheet is None else sheet)
    changed = [layout.put(row) for row in rows]
    return saved(workbook, data) if any(changed) else data


@dataclass(slots=True)
class _Layout:
    """Where things are on the sheet: the row of titles, the column of each, the row of each entry, the last row."""

    sheet: Any
    header: int
    columns: dict[str, int]
    there: dict[tuple[str, ...], int]
    last: int

    def put(self, row: Mapping[str, Any]) -> bool:
        """Write an entry in its own row, or below the last; say whether anything changed."""
        identity = tuple(row.get(key, "") for key in IDENTITY)
        if identity not in self.there:
            self.last += 1
            self.there[identity] = self.last
        at = self.there[identity]
        changed = [self._put(at, key, row.get(key)) for key in (*IDENTITY, *VALUES)]
        return any(changed)

    def _put(self, number: int, key: str, value: Any) -> bool:
        if value is None and key not in self.columns:
            return False
        if key not in self.columns:
            self.columns[key] = max(self.columns.values(), default=0) + 1
            self.sheet.cell(self.header, self.columns[key], key)
        cell = self.sheet.cell(number, self.columns[key])
        if cell_text(cell.value).strip() == cell_text(value):
            return False
        cell.value = value
        if isinstance(value, date):
            cell.number_format = "yyyy-mm-dd"
        elif value is not None:
            cell.data_type, cell.quotePrefix = "s", True  # text, and never a formula, whatever it begins with
        return True


def _layout_of(sheet: Any) -> _Layout:
    layout = _Layout(sheet, 1, {}, {}, 1)
    for row in sheet.iter_rows():
        texts = [cell_text(cell.value).strip() for cell in row]
        if not any(texts):
            continue
        layout.last = row[0].row
        if layout.columns:
            cells = {key: texts[column - 1] for key, column in layout.columns.items() if column <= len(texts)}
            layout.there.setdefault(tuple(cells.get(key, "") for key in IDENTITY), layout.last)
        else:
            layout.header = layout.last
            layout.columns = {title_of(text): column for column, text in enumerate(texts, 1) if text}
    return layout
