"""Tests of files that belong to a record: their hash before the run, and the comparison afterwards."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from netcheck.errors import UsageError
from netcheck.record.attachment import attachments_of, compare_with_file
from netcheck.record.model import Attachment


def test_name_size_and_hash(tmp_path: Path) -> None:
    """The hash is that of the standard library over the whole content; a file given twice counts once."""
    photo = tmp_path / "photo 1.jpg"
    photo.write_bytes(os.urandom(3 << 20))
    (one,) = attachments_of([photo, photo])
    assert one == Attachment("photo 1.jpg", 3 << 20, hashlib.sha256(photo.read_bytes()).hexdigest())
    assert compare_with_file(tmp_path / "run.jsonl", one) == (True, "is the file that was attached")


def test_a_file_that_cannot_be_attached_is_refused_before_the_run(tmp_path: Path) -> None:
    """A missing file, a folder, a device and a second file of the same name are each named, with exit code 2."""
    (tmp_path / "other").mkdir()
    for folder in (tmp_path, tmp_path / "other"):
        (folder / "a.jpg").write_bytes(bytes(str(folder), "utf-8"))
    words = [tmp_path / "none.jpg", tmp_path / "other", Path("/dev/zero"), tmp_path / "a.jpg", tmp_path / "other/a.jpg"]
    with pytest.raises(UsageError) as refused:
        attachments_of(words)
    assert refused.value.exit_code == 2
    wheres = [problem.where for problem in refused.value.problems]
    assert wheres == [str(words[0]), str(words[1]), str(words[2]), str(words[4])]


def test_a_file_in_the_folder_of_the_record_is_compared(tmp_path: Path) -> None:
    """Another size and another content are contradictions; a missing file is not a contradiction."""
    record, photo = tmp_path / "run.jsonl", tmp_path / "a.jpg"
    attached = Attachment("a.jpg", 4, hashlib.sha256(b"1234").hexdigest())
    assert compare_with_file(record, attached) == (True, "is not in the folder of the record, and was not compared")
    photo.write_bytes(b"12345")
    assert compare_with_file(record, attached) == (False, "is another file: it has 5 bytes, and the record says 4")
    photo.write_bytes(b"1235")
    assert compare_with_file(record, attached) == (False, "is another file: its SHA-256 is not that of the record")
    photo.write_bytes(b"1234")
    assert compare_with_file(record, attached)[0]


@pytest.mark.parametrize(
    "name", ["../a.jpg", "/etc/hostname", "a/b.jpg", "..", ".", "C:x.jpg", "c\\d.jpg", "\\\\host\\x", "nul", "a\0b"]
)
def test_a_name_with_a_path_is_not_followed(name: str, tmp_path: Path) -> None:
    """A hostile record cannot make netcheck read another file of this computer."""
    fits, found = compare_with_file(tmp_path / "run.jsonl", Attachment(name, 4, "ab" * 32))
    assert (fits, found) == (False, "is not the name of a file in the record's folder")


def test_a_pipe_or_folder_of_that_name_does_not_stop_the_comparison(tmp_path: Path) -> None:
    """Reading a named pipe would never end; it is not opened."""
    os.mkfifo(tmp_path / "pipe.jpg")
    (tmp_path / "folder.jpg").mkdir()
    for name in ("pipe.jpg", "folder.jpg"):
        size = (tmp_path / name).stat().st_size
        fits, found = compare_with_file(tmp_path / "run.jsonl", Attachment(name, size, "ab" * 32))
        assert fits
        assert found.startswith("was not compared: ")
