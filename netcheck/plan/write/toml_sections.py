"""Changes values in a TOML text section by section, so that every other section keeps its bytes and its place.

A section begins at the header of a top-level table. tomlkit writes all entries of an array of tables at the place of
the first one, so that a whole document with entries of other tables between them would be written in another order.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import TYPE_CHECKING

from netcheck.plan.entries import TomlLines
from netcheck.text import safe

if TYPE_CHECKING:
    from tomlkit import TOMLDocument


def with_change(text: str, change: Callable[[TOMLDocument], bool]) -> str:
    """Return a TOML text in which `change` may have changed every section.

    `change` is called with each section, in order, and returns whether it changed that section. Raise ValueError if
    tomlkit cannot read a section.
    """
    import tomlkit  # only when a plan is written
    from tomlkit.exceptions import TOMLKitError

    try:
        documents = [(section, tomlkit.parse(section)) for section in _sections(text)]
        return "".join(tomlkit.dumps(document) if change(document) else section for section, document in documents)
    except (TOMLKitError, RecursionError) as error:
        raise ValueError(safe(str(error)) or "it is nested too deeply") from error


def _sections(text: str) -> list[str]:
    """Return the sections of a text; the whole text if a table is not in the section of the table that contains it."""
    lines = [f"{line}\n" for line in text.split("\n")]
    lines[-1] = lines[-1][:-1]
    starts, name = [0], ""
    for line, _, path in TomlLines(text).headers:
        if len(path) == 1:
            name = str(path[0])
            starts.append(line - 1)
        elif path[0] != name:
            return [text]
    return ["".join(lines[start:end]) for start, end in pairwise([*starts, len(lines)])]
