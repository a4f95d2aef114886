"""What the readers of line-by-line texts share: numbered lines, and a look at a file's first lines."""

from __future__ import annotations

import io
from collections.abc import Iterator
from itertools import islice

from netcheck.errors import NetcheckError, Problem, SurveyError
from netcheck.survey.gathering import Source
from netcheck.tables.delimited import lines_of, text_of

LOOKED_AT = 200  # lines that tell a file's kind


def numbered_lines(source: Source) -> Iterator[tuple[int, str]]:
    """Yield a text's lines without their ends, counted from 1; SurveyError where it holds nothing."""
    empty = True
    with source.open() as stream, text_of(stream) as text:
        for number, line in enumerate(lines_of(text), 1):
            empty = empty and not line.strip()
            yield number, line.rstrip("\r\n")
    if empty:
        do = "Export it again; an empty list would make every address look free"
        raise SurveyError(Problem("it is empty", do=do))


def first_lines(head: bytes) -> list[str]:
    """The first lines of a file that begins with these bytes, those that hold anything; none where it is no text."""
    try:
        with text_of(io.BytesIO(head)) as text:
            lines = [line.rstrip("\r\n") for line in islice(lines_of(text), LOOKED_AT)]
    except NetcheckError:
        return []
    return [line for line in lines if line.strip()]
