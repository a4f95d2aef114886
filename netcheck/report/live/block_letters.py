"""Letters of five rows for the one word that must be read from three metres.

They are written here, because the libraries for this bring a megabyte and more of several hundred typefaces.
"""

from __future__ import annotations

ROWS = 5
GAP = 1  # columns between two letters
# The five rows of each letter from the top, with a slash between two rows.
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
    """Return the rows of a text in block letters; a point is `across` columns of *mark* wide and `down` rows high."""
    glyphs = [_FONT.get(letter, OTHER).split("/") for letter in text.upper()]
    rows = ((" " * GAP).join(glyph[row] for glyph in glyphs) for row in range(ROWS))
    drawn = ["".join((mark if point == "#" else " ") * across for point in row).rstrip() for row in rows]
    return [row for row in drawn for _ in range(down)]


def largest(text: str, mark: str, width: int, height: int) -> list[str]:
    """Return a text in the largest block letters that fit; no rows where even the smallest do not fit.

    A point of a terminal is about twice as high as it is wide, so that letters twice as wide look right."""
    for across, down in ((6, 3), (4, 2), (3, 2), (2, 1), (1, 1)):
        rows = block_letters(text, mark, across, down)
        if len(rows) <= height and max(map(len, rows), default=0) <= width:
            return rows
    return []
