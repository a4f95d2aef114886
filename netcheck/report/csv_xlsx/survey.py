"""A survey that is written: the table that `survey read` and a plan take, and the lines by which a plan names it."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import date

from netcheck.addr import Prefix
from netcheck.text import safe


def table_to_csv(titles: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Rows whose cells are safe already, below their titles: RFC 4180 section 2, quotes only where they are needed."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(titles)
    writer.writerows(rows)
    return stream.getvalue()


def entry_of(file: str, taken: date | None, covers: Iterable[Prefix]) -> str:
    """`[[survey]]` for a plan; without the day where it is not known."""
    quoted = safe(file).replace("\\", "\\\\").replace('"', '\\"')
    day = [f"taken = {taken}"] if taken is not None else []
    prefixes = ", ".join(dict.fromkeys(f'"{prefix}"' for prefix in covers))
    return "\n".join(["[[survey]]", f'file = "{quoted}"', *day, f"covers = [{prefixes}]"])
