"""Writes addresses back into a workbook's sheet of interfaces; refused where another part of it would be lost."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Iterator, Mapping
from typing import Any

from netcheck.errors import NetcheckError
from netcheck.plan.csv_form import title_of
from netcheck.plan.workbook import cell_text, demand_sound
from netcheck.text import listed, safe

# Parts that openpyxl reads and writes again; whatever else is there, it drops.
_KEPT = re.compile(
    r"\[Content_Types\]\.xml|_rels/\.rels|docProps/(?:core|app|custom)\.xml|xl/(?:workbook|styles|sharedStrings)\.xml"
    r"|xl/_rels/.*|xl/theme/.*|xl/worksheets/(?:_rels/)?sheet[0-9]*\.xml(?:\.rels)?|xl/tables/.*|xl/printerSettings/.*"
    r"|xl/comments/?(?:comment)?s?[0-9]*\.xml|xl/drawings/(?:vml|comments|legacy)[A-Za-z]*[0-9]*\.vml|xl/calcChain\.xml"
)
_FORMULA = re.compile(rb"<f[ />]")


def workbook_with_addresses(data: bytes, wanted: Mapping[str, str]) -> tuple[bytes, set[str]]:
    """The bytes of a workbook with these addresses, and which of the subjects it holds; ValueError where it could not
    be written without losing something."""
    workbook = workbook_from(data)
    held: set[str] = set()
    changed = False
    for row, subject, column in _rows(workbook):
        if subject in wanted:
            held.add(subject)
            changed |= cell_text(row[column].value) != wanted[subject]
            row[column].value = wanted[subject]
    return (saved(workbook, data) if changed else data), held


def saved(workbook: Any, data: bytes) -> bytes:
    """The bytes of a changed workbook; ValueError where something of the old bytes would be lost."""
    _demand_lossless(data)
    out = io.BytesIO()
    workbook.save(out)
    return out.getvalue()


def workbook_from(data: bytes) -> Any:
    """Load a workbook in order to change it; ValueError where it is none, or is too large."""
    import openpyxl  # only where there is a workbook

    try:
        demand_sound(io.BytesIO(data))
    except NetcheckError as error:
        raise ValueError(error.problems[0].what) from error
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)
            return openpyxl.load_workbook(io.BytesIO(data))
    except Exception as error:  # a broken workbook makes openpyxl fail in ways it does not name
        raise ValueError(f"it cannot be read as a workbook ({safe(str(error), 100)})") from error


def _rows(workbook: Any) -> Iterator[tuple[Any, str, int]]:
    """The rows of the sheet of interfaces with their subjects and the column of addresses, which is made if need be."""
    for sheet in workbook.worksheets:
        if sheet.title.casefold().strip() == "interfaces":
            yield from _rows_of(sheet)


def _rows_of(sheet: Any) -> Iterator[tuple[Any, str, int]]:
    titles: list[str] = []
    for row in sheet.iter_rows():
        texts = [cell_text(cell.value).strip() for cell in row]
        if not titles and any(texts):
            titles = list(map(title_of, texts))
            if "address" not in titles:
                titles.append("address")
                sheet.cell(row[0].row, len(titles), "address")
        elif titles:
            cells = dict(zip(titles, texts, strict=False))
            full = sheet[row[0].row] if len(row) < len(titles) else row
            yield full, f"{cells.get('device', '')}/{cells.get('interface', '')}", titles.index("address")


def _demand_lossless(data: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        lost = [safe(name, 60) for name in archive.namelist() if not _KEPT.fullmatch(name)]
        if lost:
            raise ValueError(f"it holds {listed(lost, 3)}, which would be lost")
        sheets = (name for name in archive.namelist() if name.startswith("xl/worksheets/"))
        if any(_FORMULA.search(archive.read(name)) for name in sheets):
            raise ValueError("it holds formulas, whose stored values would be lost")
