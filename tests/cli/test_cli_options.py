"""Tests of the options of prove and walk: bad values end with exit 2 before anything is opened."""

from __future__ import annotations

import math
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from netcheck.caution import CAUTION, caution_to_text
from netcheck.cli.main import COMMANDS, build
from netcheck.cli.options import run_options, within
from netcheck.errors import UsageError

PLAN = str(Path(__file__).parents[2] / "plans" / "tarn-hollow-mended")
# option, its minimum and its maximum
NUMBERS = (("--patience", 1, 86400), ("--out-for", 0, 86400), ("--luck", 1e-12, 0.5), ("--pace", 1, 10000),
           ("--pace-each", 0.5, 1000))  # fmt: skip


def refused(*words: str) -> str:
    """Return the message with which the command line refuses these arguments."""
    with pytest.raises((UsageError, typer.exceptions.TyperException)) as caught:
        build(list(words))(list(words), prog_name="netcheck", standalone_mode=False)
    error: Any = caught.value
    return str(error) if isinstance(error, UsageError) else str(error.format_message())


def netcheck(*words: str) -> subprocess.CompletedProcess[str]:
    """Run the command line in a new process."""
    return subprocess.run(
        [sys.executable, "-m", "netcheck", *words], capture_output=True, text=True, timeout=60, check=False,
        stdin=subprocess.DEVNULL, env={**os.environ, "COLUMNS": "200"},
    )  # fmt: skip


@pytest.mark.parametrize("command", ["prove", "walk"])
@pytest.mark.parametrize(("option", "low", "high"), NUMBERS, ids=[name for name, _, _ in NUMBERS])
@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "-1", "1e9"])
def test_numbers_out_of_range(command: str, option: str, low: float, high: float, value: str) -> None:
    """The message names the option, the value and the permitted range."""
    said = refused(command, PLAN, "-i", "absent9", "--permit", "none", option, value)
    assert said == f"{option} {float(value):g} is not a number from {low:g} to {high:g}"


@pytest.mark.parametrize(("option", "low", "high"), NUMBERS, ids=[name for name, _, _ in NUMBERS])
def test_the_limits_belong_to_the_range(option: str, low: float, high: float) -> None:
    """Both limits belong to the range, and the next number beyond them does not."""
    assert within(option, low, low, high) == low
    assert within(option, high, low, high) == high
    for beyond in (math.nextafter(low, -math.inf), math.nextafter(high, math.inf)):
        with pytest.raises(UsageError):
            within(option, beyond, low, high)


def test_the_defaults_are_those_of_run_options() -> None:
    """The defaults that --help shows equal those of `RunOptions`."""
    from netcheck.proof.events import RunOptions

    assert run_options(patience=60.0, out_for=0.0, luck=1e-4, pace=500.0, pace_each=5.0) == RunOptions()


@pytest.mark.parametrize("value", ["0", "-5", "nan", "1e7"])
def test_a_walk_lasts_at_least_a_second(value: str) -> None:
    """`--for` needs at least one second."""
    assert refused("walk", PLAN, "-i", "absent9", "--for", value).startswith("--for ")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("prove",), "PLAN"),
        (("prove", PLAN, "--patience", "soon"), "--patience"),
        (("prove", PLAN, "--format", "yaml"), "yaml"),
        (("prove", PLAN, "--link", "wifi"), "wifi"),
        (("prove", PLAN, "--out", "x"), "--out"),
        (("walk", PLAN, "--direct"), "--direct"),
        (("walk", PLAN, "--hands-free"), "--hands-free"),
    ],
    ids=lambda value: " ".join(value[:1] + value[2:]) if isinstance(value, tuple) else "",
)
def test_bad_use_gives_a_message(words: tuple[str, ...], says: str) -> None:
    """The message says what is wrong."""
    assert says in refused(*words)


@pytest.mark.parametrize(
    "words",
    [
        ("prove", PLAN, "-i", "absent9", "--permit", "none", "--luck", "2"),
        ("walk", PLAN, "-i", "absent9", "--permit", "none", "--for", "0"),
        ("prove", PLAN, "-i", "absent9", "--permit", "none", "--only", "nobody/lan"),
        ("prove", "no-such-plan", "-i", "absent9", "--permit", "none"),
    ],
    ids=["luck", "for", "only", "plan"],
)
def test_bad_use_is_exit_2_in_one_line(words: tuple[str, ...]) -> None:
    """Bad use gives exit 2 and one message, without a traceback or standard output."""
    done = netcheck(*words)
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert sum(line.startswith("netcheck: ") for line in done.stderr.splitlines()) == 1


@pytest.mark.parametrize("command", ["prove", "walk"])
def test_help_explains_every_option(command: str) -> None:
    """Each option has a description, and the help has an example."""
    done = netcheck(command, "--help")
    assert done.returncode == 0
    rows = [line for line in done.stdout.splitlines() if line.startswith("│")]
    for option in ("--interface", "--only", "--permit", "--format", "--record", "--capture", "--link", "--patience",
                   "--out-for", "--luck", "--pace", "--pace-each", "--quiet"):  # fmt: skip
        (line,) = (line for line in rows if f" {option} " in line)
        assert len(line.strip("│ ").split("  ")[-1].split()) >= 2, line
    assert f"netcheck {command} plans/tarn-hollow -i eth0 --permit" in done.stdout


COMMAND_NAMES = [*(name for name, _ in COMMANDS), "survey read", "survey listen", "survey sweep"]


@pytest.mark.parametrize("name", ["", *COMMAND_NAMES])
def test_help_shows_no_type_of_python(name: str) -> None:
    """In 80 columns a switch has no type, a value has a word, no value is cut, and no bracket is doubled."""
    pages = CliRunner(env={"COLUMNS": "80", "TERMINAL_WIDTH": "80"})
    text = pages.invoke(build(name.split()[:1]), [*name.split(), "--help"]).stdout
    assert "--help" in text
    assert re.findall(r"<(?:bool|str|int|float|path|list.*)>", text) == []
    assert "[[PLAN]]" not in text
    assert re.findall(r"(?:address|device|host|router)\s+repl(?:ies|ied)", text) == []  # these answer
    assert "...]..." not in text
    options = text.partition("─ Options ─")[2].partition("╰")[0].splitlines()
    assert [line for line in options if re.search(r"<[^>]*$", line[: line.find("  ", 30)])] == []
    assert max(map(len, text.splitlines())) <= 80


@pytest.mark.parametrize("width", [30, 40, 80, 100])
def test_the_caution_is_wrapped_and_complete(width: int) -> None:
    """No line is longer than the width, every item begins with a dash, and no word is lost."""
    lines = caution_to_text(width).splitlines()
    assert max(map(len, lines)) <= width
    assert lines[0] == "Before anything is sent:"
    assert sum(line.startswith("- ") for line in lines) == len(CAUTION)
    assert all(line.startswith(("- ", "  ")) for line in lines[1:] if line)
    assert " ".join(" ".join(lines[1:]).replace("- ", " ").split()) == " ".join(" ".join(CAUTION).split())


def test_the_caution_has_all_its_subjects() -> None:
    """The subjects are permission, stopping a process, lock-out, and qualified people.

    The caution says that it replaces no procedure.
    """
    text = " ".join(CAUTION)
    for words in ("permission", "stop a running process", "lock-out", "qualified", "replaces none"):
        assert words in text
