"""Draws the findings as tables for a terminal."""

from __future__ import annotations

from io import StringIO

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from netcheck.report.finding_groups import MOST_SHOWN, Group, Row, groups_of, headline, next_step, summary_line
from netcheck.rules.engine import Checked
from netcheck.rules.finding import Severity

WIDE = 110  # from this width subject and address have their own columns
STYLES = {Severity.CONFLICT: "bold red", Severity.RISK: "bold yellow", Severity.NOTE: "bold cyan", None: "bold green"}


def to_screen(checked: Checked, width: int, *, colour: bool = True, unicode: bool = True) -> str:
    """Return tables by severity, then the counts; without *unicode* the frames are ASCII."""
    console = Console(
        file=StringIO(),
        width=width,
        force_terminal=colour,
        color_system="standard" if colour else None,
        highlight=False,
        legacy_windows=False,
    )
    with console.capture() as captured:
        console.print(Text(headline(checked), "bold"))
        for group in groups_of(checked, MOST_SHOWN):
            console.print()
            _print_group(console, group, unicode)
        console.print()
        console.print(Text(summary_line(checked), "bold"))
        console.print(Text(next_step(checked), "dim"), end="\n" if checked.findings else "")
    return captured.get()


def _print_group(console: Console, group: Group, unicode: bool) -> None:
    console.print(Text(f"{group.title} ({group.size})", STYLES[group.severity]))
    console.print(_table(group, console.width, box.SIMPLE_HEAD if unicode else box.ASCII2))
    if group.rest:
        console.print(Text(group.rest, "dim"))


def _table(group: Group, width: int, frame: box.Box) -> Table:
    """Return the table of one group for a terminal of this width."""
    wide = width >= WIDE
    table = Table(box=frame, expand=True, padding=(0, 1), pad_edge=False)
    table.add_column("rule", width=18, overflow="fold", style=STYLES[group.severity])
    if wide:
        table.add_column("subject", ratio=2, overflow="fold")
        table.add_column("address", min_width=15, overflow="fold")
    table.add_column("what, fix, where" if wide else "subject, what, fix, where", ratio=5, overflow="fold")
    for row in group.rows:
        table.add_row(*(_wide_cells(row) if wide else _narrow_cells(row)))
    return table


def _wide_cells(row: Row) -> list[Text]:
    return [Text(row.rule), Text(row.subject), Text(row.address), _what(row)]


def _narrow_cells(row: Row) -> list[Text]:
    subject = ", ".join(filter(None, (row.subject, row.address)))
    return [Text(row.rule), Text.assemble((subject, "bold"), "\n", _what(row))]


def _what(row: Row) -> Text:
    fix = Text.assemble((f"fix: {row.fix}", "bold"), "\n") if row.fix else Text()
    return Text.assemble(row.message, "\n", fix, (row.where, "dim"))
