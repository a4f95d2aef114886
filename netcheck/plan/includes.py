"""The files that a zone among a plan's surveys includes, since what they hold is evidence too.

Only names are looked for here; `survey/readers/zone_reading.py` reads the entries, with the same bounds:
never out of the folder of the zone that the plan names, symbolic links resolved.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from netcheck.errors import NetcheckError
from netcheck.files import open_plain
from netcheck.tables.delimited import lines_of, text_of

MOST_INCLUDES = 200
_CHUNK = 1 << 18
# RFC 1035 section 5.1; a name in quotes, or one whose blanks are escaped.
_INCLUDE = re.compile(r'\$INCLUDE[ \t]+(?:"((?:[^"\\]|\\.)*)"|((?:[^\s";()\\]|\\.)+))', re.IGNORECASE)
_ESCAPE = re.compile(r"\\(?:(\d{3})|(.))", re.ASCII)


def included_by(zone: Path) -> Iterator[Path]:
    """Yield the files that a zone includes, each once, in the order met; none where it is no zone, or names them in a
    way that leads out of its folder."""
    try:
        folder = zone.resolve().parent
        seen = {zone.resolve()}
    except (OSError, ValueError, RuntimeError):
        return
    waiting = [zone]
    while waiting and len(seen) <= MOST_INCLUDES:
        found = []
        for name in _names_in(waiting.pop()):
            path = _confined(folder, name)
            if path is not None and path not in seen and len(seen) <= MOST_INCLUDES:
                seen.add(path)
                found.append(path)
                yield path
        waiting += reversed(found)


def _names_in(file: Path) -> Iterator[str]:
    try:
        with open_plain(file) as stream:
            if not any(b"$" in chunk for chunk in iter(lambda: stream.read(_CHUNK), b"")):
                return  # as in nearly every survey
            stream.seek(0)
            with text_of(stream) as text:
                for line in lines_of(text):
                    if line.startswith("$") and (found := _INCLUDE.match(line)):
                        yield _ESCAPE.sub(_escaped, found[1] if found[1] is not None else found[2])
    except (OSError, NetcheckError):
        return  # whoever reads the survey says what is wrong


def _escaped(found: re.Match[str]) -> str:
    return chr(int(found[1]) & 255) if found[1] else found[2]


def _confined(folder: Path, name: str) -> Path | None:
    try:
        path = (folder / name).resolve()
        return path if path.is_relative_to(folder) and path.is_file() else None
    except (OSError, ValueError, RuntimeError):
        return None
