"""What a zone among the surveys includes is evidence: the plan's hash holds it."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from netcheck.plan.includes import included_by
from netcheck.plan.read import read_plan

PLAN = 'format = 1\n[site]\nname = "Tarn Hollow creamery"\n[[survey]]\nfile = "zones/site.zone"\n'


def plan_in(folder: Path, zone: str) -> str:
    """The hash of a plan with this zone."""
    (folder / "zones").mkdir(exist_ok=True)
    (folder / "plan.toml").write_text(PLAN)
    (folder / "zones" / "site.zone").write_text(zone)
    return read_plan(folder).sha256


def test_the_hash_is_over_what_is_included_too(tmp_path: Path) -> None:
    """As `cat` of plan, zone and included files gives it, and another one when an included file changes."""
    (tmp_path / "zones").mkdir()
    parts = {"one two": "$include deep\n", "deep": "a A 192.0.2.5\n", "three": "b A 192.0.2.6\n"}
    for name, text in parts.items():
        (tmp_path / "zones" / name).write_text(text)
    zone = '$ORIGIN example.\n$INCLUDE one\\032two\n$INCLUDE "three" sub.example. ; both\n$INCLUDE deep\n'
    found = plan_in(tmp_path, zone)
    texts = (PLAN, zone, parts["one two"], parts["three"], parts["deep"])
    assert found == hashlib.sha256("".join(texts).encode()).hexdigest()
    (tmp_path / "zones" / "deep").write_text("a A 192.0.2.9\n")
    assert plan_in(tmp_path, zone) != found


@pytest.mark.parametrize("name", ["../secret", "/etc/hostname", "link", "site.zone", "missing", "\\000", "."])
def test_nothing_outside_the_folder_is_opened(tmp_path: Path, name: str) -> None:
    """Paths and symbolic links that lead out, circles, and what is no file."""
    (tmp_path / "secret").write_text("x A 192.0.2.9\n")
    zone = f"$INCLUDE {name}\ny.example. A 192.0.2.5\n"
    found = plan_in(tmp_path, zone)
    (tmp_path / "zones" / "link").symlink_to(tmp_path / "secret")
    assert list(included_by(tmp_path / "zones" / "site.zone")) == []
    assert found == plan_in(tmp_path, zone) == hashlib.sha256((PLAN + zone).encode()).hexdigest()
