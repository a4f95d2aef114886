"""Tests of file names that Windows reserves for devices."""

from __future__ import annotations

from pathlib import Path

import pytest

from netcheck.files import is_reserved_on_windows


@pytest.mark.parametrize(
    ("name", "reserved"),
    [
        ("con", True), ("nul.html", True), ("AUX.tar.gz", True), ("com1", True), ("LPT9.csv", True), ("nul .txt", True),
        ("console", False), ("com0.csv", False), ("report.con", False), ("con-2026.jsonl", False),
    ],
)  # fmt: skip
def test_device_names_are_reserved(name: str, reserved: bool) -> None:
    """The part before the first dot decides, in upper or lower case ("Naming Files, Paths, and Namespaces")."""
    assert is_reserved_on_windows(Path("folder", name)) is reserved
