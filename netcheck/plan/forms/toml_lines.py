"""Finds the lines of tables and keys in a TOML text that a parser has accepted or refused, for messages.

The standard parser gives values without lines. A path is a tuple of keys and, inside arrays of tables, numbers from 0:
`("device", 0, "interface", 1, "address")`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

Path = tuple[str | int, ...]
_HEADER = re.compile(r"\s*(\[\[?)\s*(.+?)\s*(\]\]?)\s*(?:#.*)?$")
_PART = r'(?:[A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"|\'[^\']*\')'
_DOTTED = rf"{_PART}(?:\s*\.\s*{_PART})*"
_KEY = re.compile(rf"\s*({_DOTTED})\s*=")
_PARTS = re.compile(_PART)
# A text, a comment, or the start of a text of several lines; brackets inside them do not count.
_TEXT = re.compile(r'"""|\'\'\'|"(?:[^"\\]|\\.)*"|\'[^\']*\'|#.*')


class TomlLines:
    """The lines of a TOML text: of every table header and key by its path, and of keys that occur twice."""

    def __init__(self, text: str) -> None:
        self._lines: dict[Path, int] = {}
        self._counts: dict[Path, int] = {}
        self.headers: list[tuple[int, str, Path]] = []  # line, text and path of each table header
        self.repeated: list[tuple[int, int, Path]] = []  # line, first line and path of each key that occurs twice
        self._table: Path = ()
        for number, line in _statements(text):
            if header := _HEADER.match(line):
                self._begin(number, line.strip(), header)
            elif key := _KEY.match(line):
                self._add(number, key[1])

    def _begin(self, number: int, line: str, header: re.Match[str]) -> None:
        parts = _parts(header[2])
        path: Path = ()
        for part in parts[:-1]:
            path = (*path, part)
            if path in self._counts:
                path = (*path, self._counts[path] - 1)
        path = (*path, *parts[-1:])
        self.headers.append((number, line, path))
        self._lines.setdefault(path, number)
        if header[1] == "[[":
            self._counts[path] = self._counts.get(path, 0) + 1
            path = (*path, self._counts[path] - 1)
            self._lines[path] = number
        self._table = path

    def _add(self, number: int, key: str) -> None:
        path = (*self._table, *_parts(key))
        if path in self._lines:
            self.repeated.append((number, self._lines[path], path))
        self._lines.setdefault(path, number)

    def at(self, path: Path) -> int:
        """Return the line of a path, or of the nearest table or key around it; 0 where there is none."""
        while path and path not in self._lines:
            path = path[:-1]
        return self._lines.get(path, 0)


def _parts(dotted: str) -> list[str]:
    return [part.strip("\"'") for part in _PARTS.findall(dotted)]


def _statements(text: str) -> Iterator[tuple[int, str]]:
    """Yield the lines on which a statement starts, with their numbers."""
    closing, depth = "", 0
    for number, line in enumerate(text.split("\n"), 1):
        at = 0
        if closing:
            at = line.find(closing) + 3
            if at < 3:
                continue
            closing = ""
        elif depth == 0:
            yield number, line
        plain = []
        while found := _TEXT.search(line, at):
            plain.append(line[at : found.start()])
            at = found.end()
            if found[0] in ('"""', "'''"):
                end = line.find(found[0], at)
                if end < 0:
                    closing, at = found[0], len(line)
                    break
                at = end + 3
        plain.append(line[at:])
        rest = "".join(plain)
        if depth or not _HEADER.match(line):
            depth = max(0, depth + rest.count("[") + rest.count("{") - rest.count("]") - rest.count("}"))
