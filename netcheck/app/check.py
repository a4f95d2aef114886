"""Checks a plan with its surveys against every rule, and gives the findings for the output there is."""

from __future__ import annotations

import shutil
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from netcheck.app.progress import Steps
from netcheck.errors import UsageError

if TYPE_CHECKING:
    from netcheck.rules.engine import Checked


def day_from(text: str) -> date:
    """Read a day as 2026-11-02; empty means today."""
    try:
        return date.fromisoformat(text) if text else date.today()
    except ValueError:
        raise UsageError.of(f"--today {text!r} is no date", do="Write it as 2026-11-02") from None


def run_check(path: Path, day: date) -> Checked:
    """Read a plan with its surveys and run every rule, with a progress bar where it takes long."""
    from netcheck.rules.catalogue import RULES
    from netcheck.rules.engine import check
    from netcheck.survey.read import read_site

    with Steps(len(RULES) + 1) as steps:
        steps.begin(f"reading {path}")
        plan, surveys = read_site(path)
        steps.end()
        steps.begin("running the rules")
        return check(plan, surveys, day, done=lambda rule: steps.end())


def findings_to_print(checked: Checked) -> str:
    """The findings as a terminal shows them well, or as text where the output is none."""
    if not sys.stdout.isatty():
        from netcheck.report.text.findings import to_text

        return to_text(checked)
    from rich.console import Console

    from netcheck.report.text.findings_screen import to_screen

    screen = Console()
    colour = screen.color_system is not None and not screen.no_color
    return to_screen(checked, shutil.get_terminal_size().columns, colour=colour, unicode=not screen.options.ascii_only)
