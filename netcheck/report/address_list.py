"""Writes the addresses in use, by subnet: as a table for the terminal, as CSV, as a workbook, and for reports."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from textwrap import wrap
from typing import Any

from tabulate import tabulate

from netcheck.plan.model import SITE, Subnet
from netcheck.report.model import Report
from netcheck.report.part_rows import Part
from netcheck.space.intervals import range_of
from netcheck.space.map_cells import AddressUse, Use, address_list
from netcheck.space.occupancy import Island, islands_of
from netcheck.tables.delimited import guarded
from netcheck.text import safe

HEADERS = ("address", "use", "who", "name", "MAC", "switch port", "place", "source", "description", "remark")
FIRST = 3  # columns of a narrow table; the other values stand in lines below each row


def address_list_to_text(subnets: Sequence[Subnet], islands: Mapping[str, Island], width: int) -> str:
    """Return one table for each subnet, in address order; one line for each address if *width* is 0 or large enough."""
    parts = []
    for subnet in subnets:
        rows = [_row(one) for one in address_list(islands[subnet.island], subnet)]
        title = f"{safe(subnet.name, 60)}  {subnet.prefix.value or safe(subnet.prefix.text, 60)}"
        parts.append(f"{title}\n{_table(rows, width)}" if rows else f"{title}\nno address is in use")
    return "\n\n".join(parts) or "The plan has no subnets."


def _row(one: AddressUse) -> tuple[str, ...]:
    return tuple(safe(text, 120) for text in _cells(one))


def _table(rows: Sequence[tuple[str, ...]], width: int) -> str:
    used = [at for at, title in enumerate(HEADERS) if any(row[at] for row in rows)]
    cells = [tuple(row[at] for at in used) for row in rows]
    titles = tuple(HEADERS[at] for at in used)
    lines = _lines(cells, titles)
    return "\n".join(_narrow(rows, width) if width and max(map(len, lines)) > width else lines)


def _lines(cells: Sequence[tuple[str, ...]], titles: Sequence[str]) -> list[str]:
    table = tabulate(cells, titles, tablefmt="simple", disable_numparse=True)
    return [line.rstrip() for line in table.splitlines()]


def _narrow(rows: Sequence[tuple[str, ...]], width: int) -> Iterator[str]:
    """Yield address, use and holder in columns and the other values in lines below; no address or MAC is broken."""
    head, ruler, *first = _lines([row[:FIRST] for row in rows], HEADERS[:FIRST])
    yield from (head, ruler)
    for line, row in zip(first, rows, strict=True):
        yield line
        more = ", ".join(f"{title} {cell}" for title, cell in zip(HEADERS[FIRST:], row[FIRST:], strict=True) if cell)
        yield from wrap(more, width, initial_indent="    ", subsequent_indent="    ", break_on_hyphens=False)


TITLES = ("subnet", *HEADERS)
_WIDTHS = (16, 28, 18, 30, 24, 20, 14, 14, 40, 30, 30)  # characters


def to_csv(subnets: Sequence[Subnet], islands: Mapping[str, Island]) -> bytes:
    """Return the list as CSV; text that a spreadsheet could take for a formula is guarded."""
    from netcheck.report.csv_tables import rows_to_csv

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
        one.description, one.remark,
    )  # fmt: skip


MOST_HOSTS = 500  # site hosts of a subnet that a report lists; a site can have a million, and `map --out` writes all
REPORT_HEADERS = tuple(title for title in HEADERS if title != "source")


def address_parts(report: Report) -> Iterator[Part]:
    """Yield one table for each subnet, for reports: who has each address. Its title counts the hosts left out."""
    for subnet, uses, left in _listed(report):
        island = f", island {subnet.island}" if subnet.island != SITE else ""
        more = f"; {left:,} more site hosts are not listed here" if left else ""
        title = f"{subnet.name}, {subnet.prefix.value or subnet.prefix.text}{island}{more}"
        rows = [dict(zip(HEADERS, _cells(one), strict=True)) for one in uses]
        used = tuple(name for name in REPORT_HEADERS if name in HEADERS[:FIRST] or any(row[name] for row in rows))
        yield Part(title, used, tuple(tuple(map(row.__getitem__, used)) for row in rows))


def address_list_to_json(report: Report) -> list[dict[str, Any]]:
    """Return one object for each subnet with its uses, in address order; empty cells are left out.

    `left_out` counts the site hosts that are not listed.
    """
    keys = tuple(title.casefold().replace(" ", "_") for title in HEADERS)
    return [
        {
            "subnet": subnet.name,
            "prefix": str(subnet.prefix.value or subnet.prefix.text),
            "island": subnet.island,
            "uses": [{key: text for key, text in zip(keys, _cells(one), strict=True) if text} for one in uses],
            "left_out": left,
        }
        for subnet, uses, left in _listed(report)
    ]


def _listed(report: Report) -> Iterator[tuple[Subnet, list[AddressUse], int]]:
    """Yield each subnet with its uses and the number of site hosts that are left out."""
    islands = islands_of(report.plan, report.surveys)
    for subnet in report.plan.subnets:
        island, prefix = islands[subnet.island], subnet.prefix.value
        uses = address_list(island, subnet, MOST_HOSTS)
        hosts = len({one.span for one in uses if one.use is Use.SITE_HOST})
        yield subnet, uses, island.hosts.count(range_of(prefix)) - hosts if prefix else 0
