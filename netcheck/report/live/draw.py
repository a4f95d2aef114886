"""Draws a screen as lines of text for a terminal of any size, with block characters or in ASCII alone.

Instruction, address, place and warning are always complete. A small terminal leaves out the list of ports first, then
the block letters, then the newest verdict. No meaning depends on colour alone.

The action word must be readable from three metres, so its letters are five rows high. The letters are defined here,
because libraries for block letters contain hundreds of typefaces in a megabyte or more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

from rich.cells import cell_len, chop_cells, set_cell_size
from rich.text import Text

from netcheck.report.live.screen import Bar, Screen, ScreenRow, Word
from netcheck.text import safe

TALL = 40  # rows; a terminal with so many shows the name of the port in block letters too
LONGEST_BAR = 60
SHORTEST_SUBJECT = 12  # columns, at least, of a port's name in the list of a narrow terminal
INDENT = " "
KEY_GAP = "   "  # between two keys
TEXT_LIMIT = 1000  # characters of one text that are shown
Style = str
STRONG, LOUD, SMALL, PLAIN = "bold", "bold red", "dim", ""


@dataclass(frozen=True, slots=True)
class ScreenLine:
    """One line of the terminal, and its style as rich names it."""

    text: str
    style: Style = PLAIN

    def to_rich(self) -> Text:
        """Return the line for rich; its text is not read as markup."""
        return Text(self.text, style=self.style, no_wrap=True, overflow="crop")


def to_lines(screen: Screen, width: int, height: int, *, ascii_only: bool = False) -> list[ScreenLine]:
    """Return the lines of a screen, at most *height* of at most *width* columns each."""
    width = max(20, width)
    said = _always_shown(screen, width, ascii_only)
    foot = _foot(screen, width)
    last = _wrapped(f"Last: {screen.last}", width, PLAIN) if screen.last else []
    head = _headline(screen, width, height, ascii_only)
    room = height - len(said) - len(foot)
    if len(head) + 1 + len(last) + min(2, len(screen.rows)) > room:
        last = last[:1] if len(head) + 2 <= room else []
    if len(head) + len(last) + min(2, len(screen.rows)) > room:
        head = [ScreenLine(_fit(f"{INDENT}*** {screen.headline} ***", width), STRONG)]
    rows = _list(screen, width, room - len(head) - len(last))
    lines = [*head, *said, *rows, *last, *foot]
    return (
        [ScreenLine(_ascii(line.text, width), line.style) for line in lines[:height]] if ascii_only else lines[:height]
    )


def _headline(screen: Screen, width: int, height: int, ascii_only: bool) -> list[ScreenLine]:
    """Return the action word in block letters; in a tall terminal the name of the port stands below it."""
    mark = "#" if ascii_only else "\u2588"
    rows = largest(screen.headline, mark, width - len(INDENT), height // 4)
    style = LOUD if screen.word is Word.LOOK else STRONG
    lines = [ScreenLine(INDENT + row, style) for row in rows] or [
        ScreenLine(f"{INDENT}*** {screen.headline} ***", style)
    ]
    if screen.port and height >= TALL:
        lines += [
            ScreenLine(""),
            *(ScreenLine(INDENT + row, STRONG) for row in largest(screen.port, mark, width - 1, ROWS)),
        ]
    return [*lines, ScreenLine("")]


def _always_shown(screen: Screen, width: int, ascii_only: bool) -> list[ScreenLine]:
    """Return the lines that are always shown: port, address, place, instruction, silence, warning, cables still out."""
    lines = _wrapped("   ".join(filter(None, (screen.port, screen.address, screen.place))), width, STRONG)
    lines += _wrapped(screen.instruction, width, STRONG)
    if screen.bar is not None:
        lines.append(ScreenLine(INDENT + _bar(screen.bar, min(LONGEST_BAR, width - 2), ascii_only)))
    lines += _wrapped(screen.detail, width, PLAIN)
    if screen.warning:
        lines += _wrapped(f"LOOK: {screen.warning}", width, LOUD)
    if screen.following:
        lines += _wrapped(f"Next: {screen.following}", width, STRONG)
    if screen.out:
        lines += _wrapped(f"Still out: {', '.join(screen.out)}", width, STRONG)
    if screen.typed:
        lines += _wrapped(f"Row {screen.typed}_   a second digit, or Enter", width, STRONG)
    if screen.prompt:
        lines += _wrapped(f"{screen.prompt}_   (Enter keeps it, Esc discards it)", width, STRONG)
    return lines


def _bar(bar: Bar, width: int, ascii_only: bool) -> str:
    full, empty = ("#", "-") if ascii_only else ("\u2588", "\u2591")
    share = 1.0 if bar.total <= 0 else min(1.0, bar.done / bar.total)
    filled = int(share * (width - 2))
    return f"[{full * filled}{empty * (width - 2 - filled)}]"


def _foot(screen: Screen, width: int) -> list[ScreenLine]:
    """Return the ports by verdict and the keys; each key is on one line with its meaning."""
    settled = sum(count for _, count in screen.counts)
    counts = [f"{count} {verdict}" for verdict, count in screen.counts]
    begin, keys = ", ".join([*counts, f"{len(screen.rows) - settled} to go"]), screen.keys.split(KEY_GAP)
    on_one_line = KEY_GAP[1:].join([begin, *keys])
    if cell_len(KEY_GAP.join([begin, *keys])) >= width > cell_len(on_one_line):
        return _wrapped(on_one_line, width, SMALL)
    lines = [begin]
    for key in keys:
        longer = f"{lines[-1]}{KEY_GAP}{key}"
        lines[-1:] = [longer] if cell_len(longer) < width else [lines[-1], key]
    return [piece for line in lines for piece in _wrapped(line, width, SMALL)]


def _list(screen: Screen, width: int, room: int) -> list[ScreenLine]:
    """Return the rows of the ports around the current port, at most *room* lines, below an empty line."""
    if room < 2 or not screen.rows:
        return []
    most = room - 1
    at = next((place for place, row in enumerate(screen.rows) if row.current), 0)
    first = max(0, min(at - most // 2, len(screen.rows) - most))
    shown = screen.rows[first : first + most]
    cells = [_cells(row) for row in shown]
    columns = _columns(cells, width)
    lines = (_table_line(row, words, columns) for row, words in zip(shown, cells, strict=True))
    return [ScreenLine(""), *lines]


def _cells(row: ScreenRow) -> tuple[str, ...]:
    took = "" if row.seconds is None else f"{row.seconds:.0f} s"
    name = f"{'>' if row.current else ' '}{row.number:>3} {safe(row.subject)}"
    return name, safe(row.address), row.state, row.who, took


def _columns(cells: Sequence[tuple[str, ...]], width: int) -> list[int]:
    """Return the width of each column.

    In a narrow terminal time and MAC are left out and long names are cut, but the address and the state are never cut.
    """
    widths = [max(map(cell_len, column)) for column in zip(*cells, strict=True)]
    while sum(widths) + 2 * (len(widths) - 1) > width and len(widths) > 3:
        widths.pop()
    excess = sum(widths) + 2 * (len(widths) - 1) - width
    widths[0] = max(SHORTEST_SUBJECT, widths[0] - max(0, excess))
    return widths


def _table_line(row: ScreenRow, cells: Sequence[str], widths: Sequence[int]) -> ScreenLine:
    style = STRONG if row.current else LOUD if row.good is False else PLAIN
    text = "  ".join(_fit(cell, width).ljust(width) for cell, width in zip(cells, widths, strict=False))
    return ScreenLine(text.rstrip(), style)


def _wrapped(text: str, width: int, style: Style) -> list[ScreenLine]:
    """Return a text as indented lines; a word that is longer than a line is split."""
    room = width - len(INDENT)
    rows = wrap(safe(text, TEXT_LIMIT), room, break_on_hyphens=False) if text.strip() else []
    return [ScreenLine(INDENT + piece, style) for row in rows for piece in chop_cells(row, room)]


def _fit(text: str, width: int) -> str:
    """Cut a text to a number of columns; a name that is cut ends in dots."""
    return text if cell_len(text) <= width else set_cell_size(text, width - 2) + ".."


def _ascii(text: str, width: int) -> str:
    """Return a line in ASCII; every other character becomes an escape."""
    return text.encode("ascii", "backslashreplace").decode("ascii")[:width]


ROWS = 5
GAP = 1  # columns between two letters
# The five rows of each letter, from the top, separated by slashes.
_FONT = {
    "A": ".##./#..#/####/#..#/#..#", "B": "###./#..#/###./#..#/###.", "C": ".###/#.../#.../#.../.###",
    "D": "###./#..#/#..#/#..#/###.", "E": "####/#.../###./#.../####", "F": "####/#.../###./#.../#...",
    "G": ".###/#.../#.##/#..#/.###", "H": "#..#/#..#/####/#..#/#..#", "I": "###/.#./.#./.#./###",
    "J": "...#/...#/...#/#..#/.##.", "K": "#..#/#.#./##../#.#./#..#", "L": "#.../#.../#.../#.../####",
    "M": "#...#/##.##/#.#.#/#...#/#...#", "N": "#...#/##..#/#.#.#/#..##/#...#", "O": ".##./#..#/#..#/#..#/.##.",
    "P": "###./#..#/###./#.../#...", "Q": ".##./#..#/#..#/#.##/.###", "R": "###./#..#/###./#.#./#..#",
    "S": ".###/#.../.##./...#/###.", "T": "#####/..#../..#../..#../..#..", "U": "#..#/#..#/#..#/#..#/.##.",
    "V": "#...#/#...#/.#.#./.#.#./..#..", "W": "#...#/#...#/#.#.#/##.##/#...#", "X": "#...#/.#.#./..#../.#.#./#...#",
    "Y": "#.#/#.#/.#./.#./.#.", "Z": "####/...#/.##./#.../####",
    "0": "####/#..#/#..#/#..#/####", "1": ".#./##./.#./.#./###", "2": "###./...#/.##./#.../####",
    "3": "###./...#/.##./...#/###.", "4": "#..#/#..#/####/...#/...#", "5": "####/#.../###./...#/###.",
    "6": ".##./#.../###./#..#/.##.", "7": "####/...#/..#./.#../.#..", "8": ".##./#..#/.##./#..#/.##.",
    "9": ".##./#..#/.###/...#/.##.", "-": ".../.../###/.../...", "/": "..#/..#/.#./#../#..", ":": "./#/./#/.",
    ".": "././././#", "_": "..../..../..../..../####", " ": "../../../../..",
}  # fmt: skip
OTHER = "###./...#/.##./..../.#.."  # a question mark stands for every other character


def block_letters(text: str, mark: str, across: int = 1, down: int = 1) -> list[str]:
    """Return the rows of a text in block letters; a point is *across* columns wide and *down* rows high."""
    glyphs = [_FONT.get(letter, OTHER).split("/") for letter in text.upper()]
    rows = ((" " * GAP).join(glyph[row] for glyph in glyphs) for row in range(ROWS))
    drawn = ["".join((mark if point == "#" else " ") * across for point in row).rstrip() for row in rows]
    return [row for row in drawn for _ in range(down)]


def largest(text: str, mark: str, width: int, height: int) -> list[str]:
    """Return a text in the largest block letters that fit; no rows if the smallest do not fit.

    A character cell of a terminal is about twice as high as it is wide, so a point is twice as many columns wide.
    """
    for across, down in ((6, 3), (4, 2), (3, 2), (2, 1), (1, 1)):
        rows = block_letters(text, mark, across, down)
        if len(rows) <= height and max(map(len, rows), default=0) <= width:
            return rows
    return []
