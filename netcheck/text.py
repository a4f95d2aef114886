"""Makes foreign text safe to show: control, bidirectional and invisible characters become visible escapes.

It also has lists in prose, the order of names with numbers, and regular expressions that are compiled when needed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from inspect import cleandoc
from itertools import repeat
from typing import Any, TextIO, TypeVar

T = TypeVar("T")


class Pattern:
    """A regular expression that is compiled at its first use.

    A check of a small plan uses a third of the patterns of the modules that it imports. To compile the others would
    take a quarter of the time of the check itself. The methods are those of `re.Pattern`.
    """

    fullmatch: Callable[[str], re.Match[str] | None]
    match: Callable[[str], re.Match[str] | None]
    search: Callable[..., re.Match[str] | None]
    finditer: Callable[[str], Iterator[re.Match[str]]]
    findall: Callable[[str], list[str]]
    split: Callable[..., list[str]]
    sub: Callable[[str | Callable[[re.Match[str]], str], str], str]

    def __init__(self, text: str, flags: int = 0) -> None:
        self._text, self._flags = text, flags

    def __getattr__(self, name: str) -> Any:
        """Compile the pattern and keep the method, so that the next call finds it without this one."""
        method = getattr(re.compile(self._text, self._flags), name)
        setattr(self, name, method)
        return method


# C0, DEL and C1 controls (ECMA-48 section 4.1.1); bidirectional controls, line separators, zero-width and tag
# characters (Unicode, from memory); lone surrogates, which no UTF-8 sink can take.
_UNSAFE = Pattern(
    "[\x00-\x1f\x7f-\x9f\u00ad\u061c\u180e\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb\ud800-\udfff]"
    "|[\U000e0000-\U000e007f]"
)

_NUMBER = Pattern(r"([0-9]{1,18})")  # longer numbers are compared in pieces


def _escape(found: re.Match[str]) -> str:
    point = ord(found.group())
    if point < 0x100:
        return f"\\x{point:02x}"
    return f"\\u{point:04x}" if point < 0x10000 else f"\\U{point:08x}"


def safe(text: str, limit: int = 400) -> str:
    """Return a text on one line without control characters, cut with an ellipsis after `limit` characters."""
    cut = text if len(text) <= limit else text[:limit] + "\u2026"
    return _UNSAFE.sub(_escape, cut)


def listed(items: list[str], most: int = 6, joint: str = "and") -> str:
    """Return items as prose: `a`, `a and b`, `a, b and c`; items in excess of `most` are only counted."""
    shown = items if len(items) <= most else [*items[:most], f"{len(items) - most} more"]
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} {joint} {shown[-1]}" if shown else "none"


def listed_words(items: Sequence[T], words: Callable[[T], str], most: int = 6) -> str:
    """Return `listed` of the words of items; only the words that are shown are made."""
    shown = list(map(words, items[:most]))
    return listed([*shown, *repeat("", len(items) - len(shown))], most)


def flowing(text: str) -> str:
    """Return a docstring with each paragraph on one line, for output that wraps lines itself.

    A line that is indented more than the docstring, such as an item of a list, stays a line.
    """
    lines: list[str] = []
    for line in cleandoc(text).split("\n"):
        if line and not line.startswith(" ") and lines and lines[-1]:
            lines[-1] += f" {line}"
        else:
            lines.append(line)
    return "\n".join(lines)


def for_terminal(text: str, stream: TextIO) -> str:
    """Return a text with its long lines wrapped between words if *stream* is a terminal, else the text.

    A terminal breaks a long line in the middle of a word. The next lines have the indentation of the line.
    """
    if not stream.isatty():
        return text
    from shutil import get_terminal_size
    from textwrap import wrap

    width, lines = max(20, get_terminal_size().columns), []
    for line in text.split("\n"):
        indent = line[: len(line) - len(line.lstrip())]
        if len(line) > width:
            lines += wrap(line, width, subsequent_indent=indent, break_on_hyphens=False, break_long_words=False)
        else:
            lines.append(line)
    return "\n".join(lines)


def natural_key(text: str) -> tuple[tuple[int, int, str], ...]:
    """Return a sort key that orders digits by their number, so that `drive-9` is before `drive-10`."""
    parts = _NUMBER.split(text.casefold())
    return tuple((1, int(part), part) if index % 2 else (0, 0, part) for index, part in enumerate(parts))


def number_of(count: int, noun: str) -> str:
    """Return a number with its noun, in the singular for 1: `1 finding`, `2 findings`."""
    return f"{count:,} {noun}{'' if count == 1 else 's'}"


def count_words(number: int) -> str:
    """Return a number with separators; from 10^12 on, the nearest power of two."""
    return f"{number:,}" if number < 10**12 else f"about 2^{(number + number // 2).bit_length() - 1}"
