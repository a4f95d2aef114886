"""Tests of the house rules: layers, top level, format, lint, types, and what the README promises."""

from __future__ import annotations

import ast
import io
import re
import subprocess
import sys
import tokenize
import tomllib
from collections import defaultdict
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

from tests.conftest import LONGEST_FILES, SLOW_FILES

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "netcheck"
GROUND = {"addr", "caution", "errors", "files", "text"}  # modules outside the folders, which every folder may import
LAYERS = {
    "tables": set(),
    "plan": {"tables"},
    "survey": {"tables", "plan", "wire"},  # wire reads capture files
    "space": {"plan", "survey"},
    "rules": {"plan", "survey", "space"},
    "wire": set(),
    "proof": {"plan", "wire"},
    "intake": {"tables", "plan", "survey"},
    "field": {"tables", "plan", "survey", "wire", "proof"},
    "rig": {"plan", "wire", "proof"},
    "record": {"proof"},
    "answers": {"tables", "plan", "survey", "rules", "requests"},
    "requests": {"plan", "survey", "space", "rules"},
    "report": {"tables", "plan", "survey", "space", "rules", "proof", "field", "rig", "record", "answers", "requests"},
}
LAYERS["app"] = {*LAYERS}
LAYERS["cli"] = {*LAYERS}
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "netcheck", "plans", "tests"}


@cache
def source_of(path: Path) -> str:
    """Return the text of a file."""
    return path.read_text(encoding="utf-8")


@cache
def tree_of(path: Path) -> ast.Module:
    """Return the syntax tree of a file; cached, because most tests here read the same files."""
    return ast.parse(source_of(path))


@cache
def modules() -> tuple[Path, ...]:
    """Return all files of the package."""
    return tuple(PACKAGE.rglob("*.py"))


@cache
def imports_in(path: Path) -> tuple[ast.Import | ast.ImportFrom, ...]:
    """Return the imports of a file, also those inside functions."""
    return tuple(node for node in ast.walk(tree_of(path)) if isinstance(node, ast.Import | ast.ImportFrom))


def imported(path: Path) -> set[str]:
    """Return netcheck's folders and ground modules that a file imports anywhere."""
    found = set()
    for node in imports_in(path):
        names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        names += [node.module] if isinstance(node, ast.ImportFrom) and node.module else []
        found |= {name.split(".")[1] for name in names if name.startswith("netcheck.")}
    return found


@pytest.mark.parametrize("folder", LAYERS)
def test_layers_import_only_lower_layers(folder: str) -> None:
    """Each folder imports only itself, the ground modules and the layers of the architecture table."""
    allowed = LAYERS[folder] | GROUND | {folder}
    wrong = {str(path.relative_to(ROOT)): imported(path) - allowed for path in (PACKAGE / folder).rglob("*.py")}
    assert {path: names for path, names in wrong.items() if names} == {}


def test_ground_imports_nothing_but_ground() -> None:
    """Of netcheck's modules, those outside the folders import only one another."""
    wrong = {name: imported(PACKAGE / f"{name}.py") - GROUND for name in GROUND}
    assert {name: names for name, names in wrong.items() if names} == {}


SHORT_MODULE = 60  # lines
MOST_SHORT_MODULES = 3  # short modules that only one module of their folder imports
# Folders in which each module is one command, one subject of rules, one reader or one link; it may be short.
FAMILIES = {"app", "cli", "rules/catalogue", "survey/readers", "wire/links"}
_CITED = re.compile(r"[\w./-]*\w\.(?:py|md)\b")


def test_no_public_class_name_is_defined_twice() -> None:
    """A public class name belongs to one module, so that a search for it has one result."""
    places: dict[str, list[str]] = defaultdict(list)
    for path in modules():
        for node in tree_of(path).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                places[node.name].append(str(path.relative_to(ROOT)))
    double = {name: paths for name, paths in places.items() if len(paths) > 1}
    assert double == {}


MANY_FIELDS = 10
MOST_BY_POSITION = 3


def test_large_records_are_built_by_keyword() -> None:
    """A call by position can swap two values of one type, and the type checker does not notice it."""
    sizes = {
        node.name: sum(isinstance(field, ast.AnnAssign) for field in node.body)
        for path in modules()
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.ClassDef) and "NamedTuple" in map(ast.unparse, node.bases)
    }
    assert sizes["Interface"] > MANY_FIELDS
    wrong = [
        f"{path.relative_to(ROOT)}:{node.lineno}: {ast.unparse(node.func)}"
        for path in modules()
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.Call)
        and sizes.get(ast.unparse(node.func), 0) >= MANY_FIELDS
        and len(node.args) > MOST_BY_POSITION
    ]
    assert wrong == []


def importers() -> dict[str, set[str]]:
    """Return the modules that import each module of netcheck, by its path."""
    paths = [str(path.relative_to(PACKAGE).with_suffix("")) for path in modules()]
    found: dict[str, set[str]] = {path: set() for path in paths}
    for path in paths:
        for node in imports_in(PACKAGE / f"{path}.py"):
            if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("netcheck"):
                home = node.module.replace(".", "/").removeprefix("netcheck").lstrip("/")
                for name in (home, *(f"{home}/{alias.name}".lstrip("/") for alias in node.names)):
                    if name in found:
                        found[name].add(path)
    return found


def test_no_modules_import_each_other() -> None:
    """No module imports itself through others, not even inside a function or for the type checker alone."""
    try:
        TopologicalSorter(importers()).prepare()
    except CycleError as error:
        pytest.fail(" <- ".join(error.args[1]))


def test_few_short_modules_serve_one_neighbour_alone() -> None:
    """A short module that only one module of its folder imports is easier to read as a part of that module."""
    short = [
        path
        for path, users in importers().items()
        if len(users) == 1
        and {str(Path(user).parent) for user in users} == {str(Path(path).parent)} - FAMILIES
        and len(source_of(PACKAGE / f"{path}.py").splitlines()) < SHORT_MODULE
    ]
    assert len(short) <= MOST_SHORT_MODULES, short


def cited_files(path: Path) -> set[str]:
    """Return the Python and Markdown files that the docstrings and comments of a module name."""
    if not _CITED.search(source_of(path)):
        return set()
    tokens = tokenize.generate_tokens(io.StringIO(source_of(path)).readline)
    texts = [token.string for token in tokens if token.type == tokenize.COMMENT]
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            texts.append(ast.get_docstring(node) or "")
    return {name for text in texts for name in _CITED.findall(text)}


def test_files_named_in_docstrings_and_comments_exist() -> None:
    """Each Python or Markdown file that a docstring or comment names is in the repository."""
    paths = [path.relative_to(ROOT) for path in ROOT.glob("[!.]*/**/*") if path.suffix in (".py", ".md")]
    paths += [path.relative_to(ROOT) for path in ROOT.glob("*.md")]
    names = {"/".join(path.parts[at:]) for path in paths for at in range(len(path.parts))}
    missing = {
        str(path.relative_to(ROOT)): lost
        for folder in (PACKAGE, ROOT / "tests")
        for path in folder.rglob("*.py")
        if (lost := {name for name in cited_files(path) if name.lstrip("/") not in names})
    }
    assert missing == {}


def tracked() -> list[str]:
    """Return the files that git tracks, or all files if there is no git repository."""
    run = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    return run.stdout.splitlines() if run.returncode == 0 else [p.name for p in ROOT.iterdir()]


def test_each_file_of_slow_tests_exists() -> None:
    """A renamed file of slow tests would run in the fast loop, or the longest files would not run first."""
    assert {path.name for path in (ROOT / "tests").rglob("test_*.py")} >= SLOW_FILES | LONGEST_FILES


def test_top_level_is_fixed() -> None:
    """Only the fixed names and dotfiles are at the top level."""
    tops = {name.split("/")[0] for name in tracked()}
    assert {name for name in tops if not name.startswith(".")} == TOP


@pytest.mark.slow
@pytest.mark.parametrize("words", [("ruff", "format", "--check", "."), ("ruff", "check", "."), ("mypy",)], ids=" ".join)
def test_format_lint_and_types(words: tuple[str, ...]) -> None:
    """The formatter, the linter and the strict type checker report nothing."""
    run = subprocess.run([sys.executable, "-m", *words], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr


@pytest.mark.slow
@pytest.mark.parametrize("system", ["win32", "darwin"])
def test_types_on_other_systems(system: str) -> None:
    """The strict type checker reports nothing for the code that runs on Windows and macOS."""
    words = ["mypy", "--config-file", "tests/mypy-other-systems.ini", "--platform", system]
    cache = ["--cache-dir", f".mypy_cache/{system}"]
    run = subprocess.run([sys.executable, "-m", *words, *cache], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr


def test_ci_runs_the_test_command_of_the_readme() -> None:
    """The README marks one test command, and the continuous integration runs that command."""
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


@pytest.mark.slow
def test_help_of_every_command_has_an_example() -> None:
    """`--help` of every command works and contains an example."""
    from netcheck.cli.main import COMMANDS

    for name, _ in COMMANDS:
        run = subprocess.run(
            [sys.executable, "-m", "netcheck", name, "--help"], capture_output=True, text=True, check=False
        )
        assert run.returncode == 0, run.stderr
        assert "Example" in run.stdout, name


def test_the_wheel_contains_the_demo_plants() -> None:
    """The wheel contains both invented plants where the demo looks for them."""
    wheel = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["hatch"]["build"]["targets"]
    assert set(wheel["wheel"]["force-include"]) == {"plans/tarn-hollow", "plans/tarn-hollow-mended"}
