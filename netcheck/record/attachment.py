"""Files that belong to a record, such as photographs.

Before a run their names, sizes and SHA-256 are taken. Afterwards a file in the folder of the record is compared with
the values in the record.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path, PurePosixPath, PureWindowsPath

from netcheck.errors import NetcheckError, Problem, UsageError
from netcheck.files import FileError, is_reserved_on_windows, open_plain, refused_by_system
from netcheck.record.model import Attachment

_CHUNK = 1 << 20


def attachments_of(paths: Sequence[Path]) -> tuple[Attachment, ...]:
    """Return name, size and SHA-256 of files; a file that is given twice occurs once.

    Files are read in parts, so that any size fits into memory. Raises UsageError if a file cannot be read, or if two
    files have the same name and different content.
    """
    found: dict[str, Attachment] = {}
    problems: list[Problem] = []
    for path in paths:
        try:
            one = _hashed(path)
        except NetcheckError as error:
            problems += [Problem(f"--attach: {problem.what}", str(path), problem.do) for problem in error.problems]
            continue
        if found.setdefault(one.name, one) != one:
            what = f"--attach: two files have the name {one.name}"
            problems.append(Problem(what, str(path), "Rename one of them"))
    if problems:
        raise UsageError(*problems)
    return tuple(found.values())


def _hashed(path: Path) -> Attachment:
    digest, size = hashlib.sha256(), 0
    try:
        with closing(open_plain(path)) as stream:
            while chunk := stream.read(_CHUNK):
                digest.update(chunk)
                size += len(chunk)
    except OSError as error:
        raise refused_by_system(error, path) from error
    return Attachment(path.name, size, digest.hexdigest())


def compare_with_file(record: Path, attached: Attachment) -> tuple[bool, str]:
    """Compare an attached file with the file of that name in the record's folder.

    Return False if they differ, else True; and the result as words that can follow the name.
    """
    if not _is_name(attached.name):
        return False, "is not the name of a file in the record's folder"
    path = record.parent / attached.name
    try:
        size = os.stat(path).st_size
        if size != attached.size:
            return False, f"is another file: it has {size} bytes, and the record says {attached.size}"
        digest = _hashed(path).sha256
    except FileNotFoundError:
        return True, "is not in the folder of the record, and was not compared"
    except (OSError, ValueError) as error:
        return True, f"was not compared: {refused_by_system(error, path).problems[0].what}"
    except FileError as error:
        return True, f"was not compared: {error.problems[0].what}"
    if digest != attached.sha256:
        return False, "is another file: its SHA-256 is not that of the record"
    return True, "is the file that was attached"


def _is_name(name: str) -> bool:
    """Return whether a text is a plain file name on every system; a hostile record can name any path."""
    plain = name == PurePosixPath(name).name == PureWindowsPath(name).name and name not in ("", ".", "..")
    return plain and "\0" not in name and ":" not in name and not is_reserved_on_windows(Path(name))
