"""Writes a survey as CSV, and the `[[survey]]` entry that names it in a plan."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import date

from netcheck.addr import Prefix
from netcheck.text import safe


def table_to_csv(titles: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return titles and rows as CSV, quoted where needed (RFC 4180 section 2); the cells must be safe."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(titles)
    writer.writerows(rows)
    return stream.getvalue()


def entry_of(file: str, taken: date | None, covers: Iterable[Prefix]) -> str:
    """Return the `[[survey]]` entry; without a date where it is not known."""
    quoted = safe(file).replace("\\", "\\\\").replace('"', '\\"')
    day = [f"taken = {taken}"] if taken is not None else []
    prefixes = ", ".join(dict.fromkeys(f'"{prefix}"' for prefix in covers))
    return "\n".join(["[[survey]]", f'file = "{quoted}"', *day, f"covers = [{prefixes}]"])
