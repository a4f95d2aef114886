"""The house rules that a machine can hold: layers, top level, format, lint, types, and what the README promises."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "netcheck"
GROUND = {"addr", "caution", "errors", "files", "text"}  # modules beside the folders that everybody may use
LAYERS = {
    "tables": set(),
    "plan": {"tables"},
    "survey": {"tables", "plan"},
    "space": {"plan", "survey"},
    "rules": {"plan", "survey", "space"},
    "wire": set(),
    "proof": {"plan", "wire"},
    "field": {"tables", "plan", "survey", "wire", "proof"},
    "rig": {"plan", "wire", "proof"},
    "record": {"proof"},
    "answers": {"tables", "plan", "survey", "rules"},
    "requests": {"plan", "survey", "space", "rules"},
    "report": {"tables", "plan", "survey", "space", "rules", "proof", "field", "rig", "record", "answers", "requests"},
}
LAYERS["app"] = {*LAYERS}
LAYERS["cli"] = {*LAYERS}
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "netcheck", "plans", "tests"}


def imported(path: Path) -> set[str]:
    """Our folders and ground modules that a file imports anywhere."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        names += [node.module] if isinstance(node, ast.ImportFrom) and node.module else []
        found |= {name.split(".")[1] for name in names if name.startswith("netcheck.")}
    return found


@pytest.mark.parametrize("folder", LAYERS)
def test_layers_import_only_what_they_may(folder: str) -> None:
    """Each folder imports itself, the ground and the layers of the architecture table."""
    allowed = LAYERS[folder] | GROUND | {folder}
    wrong = {str(path.relative_to(ROOT)): imported(path) - allowed for path in (PACKAGE / folder).rglob("*.py")}
    assert {path: names for path, names in wrong.items() if names} == {}


def test_ground_imports_nothing_but_ground() -> None:
    """The modules beside the folders rest on nothing of ours but one another."""
    wrong = {name: imported(PACKAGE / f"{name}.py") - GROUND for name in GROUND}
    assert {name: names for name, names in wrong.items() if names} == {}


def tracked() -> list[str]:
    """Files that git keeps; all files where this is no clone."""
    run = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    return run.stdout.splitlines() if run.returncode == 0 else [p.name for p in ROOT.iterdir()]


def test_top_level_is_fixed() -> None:
    """Nothing but the fixed names and dotfiles stands at the top."""
    tops = {name.split("/")[0] for name in tracked()}
    assert {name for name in tops if not name.startswith(".")} == TOP


@pytest.mark.parametrize("words", [("ruff", "format", "--check", "."), ("ruff", "check", "."), ("mypy",)], ids=" ".join)
def test_format_lint_and_types(words: tuple[str, ...]) -> None:
    """The formatter, the linter and the strict type checker have nothing to say."""
    run = subprocess.run([sys.executable, "-m", *words], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr


def test_ci_runs_the_command_of_the_readme() -> None:
    """The README marks one test command, and the continuous integration takes it from there."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert len(re.findall(r"<!-- test command -->\n```sh\n[^\n]+pytest tests/lab\n```", readme)) == 1
    assert "<!-- test command -->" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_readme_names_every_command_that_it_shows() -> None:
    """Every `netcheck COMMAND` in the README is a command of the program."""
    from netcheck.cli.main import COMMANDS

    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = set(re.findall(r"`(?:\.venv/bin/)?netcheck ([a-z]+)", readme))
    assert shown
    assert shown <= {name for name, _ in COMMANDS}


def test_every_verdict_is_in_the_readme() -> None:
    """The README explains each verdict in a row of its own."""
    from netcheck.proof.result import Verdict

    rows = set(re.findall(r"^\| `([a-z-]+)` \|", (ROOT / "README.md").read_text(encoding="utf-8"), re.MULTILINE))
    assert rows == {str(verdict) for verdict in Verdict}


def test_every_command_explains_itself_with_an_example() -> None:
    """`--help` of every command works and holds an example."""
    from netcheck.cli.main import COMMANDS

    for name, _ in COMMANDS:
        run = subprocess.run(
            [sys.executable, "-m", "netcheck", name, "--help"], capture_output=True, text=True, check=False
        )
        assert run.returncode == 0, run.stderr
        assert "Example" in run.stdout, name


def test_wheel_brings_the_demo_plants() -> None:
    """The wheel maps both invented plants into the package, where the demo looks for them."""
    wheel = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["hatch"]["build"]["targets"]
    assert set(wheel["wheel"]["force-include"]) == {"plans/tarn-hollow", "plans/tarn-hollow-mended"}
