"""Tests that a check and the help import no library that only other commands need, so that both start fast."""

from __future__ import annotations

import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

from netcheck.cli.main import COMMANDS
from netcheck.text import flowing

DEMO = str(Path(__file__).parents[2] / "plans" / "tarn-hollow")
HEAVY = ("scapy", "openpyxl", "jinja2", "dns", "tomlkit", "netaddr")
# The check of the demo plan does not need these: its survey is a table, it is not a workbook, and its output is text.
NEEDLESS = (
    *(
        f"netcheck.survey.readers.{name}"
        for name in ("leases", "dhcp_config", "neighbours", "zone", "hosts", "capture")
    ),
    *("netcheck.survey.readers.workbook", "netcheck.survey.readers.special_tables", "netcheck.wire"),
    *("netcheck.tables.workbook_read", "netcheck.report.csv_tables", "netcheck.report.workbook", "netcheck.proof"),
    *("netcheck.report.html", "rich.console", "json"),
)
PROGRAM = """
import sys
from netcheck.cli.main import run
try:
    run()
finally:
    print("loaded:", *(name for name in {heavy!r} if name in sys.modules), file=sys.stderr)
"""


@pytest.mark.parametrize(
    "words", [["check", DEMO], ["check", DEMO, "--format", "json"], ["--help"]], ids=["check", "json", "help"]
)
def test_heavy_libraries_are_not_imported(words: list[str]) -> None:
    """A check and the help import no heavy library; scapy alone takes longer than the check of a small plan."""
    program = PROGRAM.format(heavy=HEAVY)
    done = subprocess.run([sys.executable, "-c", program, *words], capture_output=True, text=True, check=False)
    assert done.stdout
    assert done.stderr.splitlines()[-1] == "loaded:"


def test_the_check_of_the_demo_plan_imports_no_reader_or_report_that_it_does_not_need() -> None:
    """Each of these modules takes about a millisecond, and the whole check of a small plan takes 200."""
    program = PROGRAM.format(heavy=(*HEAVY, *NEEDLESS))
    done = subprocess.run([sys.executable, "-c", program, "check", DEMO], capture_output=True, text=True, check=False)
    assert "Conflicts" in done.stdout
    assert done.stderr.splitlines()[-1] == "loaded:"


def test_a_shape_that_the_plan_does_not_use_is_not_built() -> None:
    """A validator takes about a millisecond to build; pydantic builds it on first use."""
    program = f"""
from datetime import date
from pathlib import Path
from netcheck.app.check import run_check
from netcheck.plan.shapes import Shape
run_check(Path({DEMO!r}), date(2026, 11, 2))
print(*(shape.__name__ for shape in Shape.__subclasses__() if shape.__pydantic_complete__))
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    built = set(done.stdout.split())
    assert {"SiteShape", "SubnetShape", "PlanShape"} <= built
    assert not built & {"SchemeShape", "TranslationShape", "IslandShape"}


def test_the_objects_are_not_searched_for_cycles_at_exit() -> None:
    """The search takes a fifth of the time of a short command, and the memory is freed at exit anyway."""
    program = """
import gc, sys
from netcheck.__main__ import main
try:
    main()
finally:
    print(gc.get_freeze_count(), file=sys.stderr)
"""
    done = subprocess.run([sys.executable, "-c", program, "--help"], capture_output=True, text=True, check=False)
    assert int(done.stderr) > 10_000


@pytest.mark.parametrize(("name", "summary"), COMMANDS, ids=[name for name, _ in COMMANDS])
def test_each_summary_is_the_first_paragraph_of_its_command(name: str, summary: str) -> None:
    """The table of summaries, which `netcheck --help` prints without importing a command, equals the docstrings."""
    module = import_module(f"netcheck.cli.{name}")
    documented = module.app.registered_callback.callback if hasattr(module, "app") else module.command
    assert flowing(documented.__doc__ or "").split("\n\n")[0] == summary


def test_help_imports_no_command() -> None:
    """`netcheck --help` imports no module of a command."""
    program = PROGRAM.replace('"loaded:", *(name for name in {heavy!r} if name in sys.modules)', "*sys.modules")
    done = subprocess.run([sys.executable, "-c", program, "--help"], capture_output=True, text=True, check=False)
    assert "rehearse" in done.stdout
    loaded = {name for name in done.stderr.split() if name.startswith("netcheck.cli.")}
    assert loaded == {"netcheck.cli.main", "netcheck.cli.help_pages"}
