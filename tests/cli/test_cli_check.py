"""Tests of `netcheck check` and `netcheck rules` by the command line: exit codes, streams, formats, whole outputs."""

from __future__ import annotations

import csv
import io
import json
import os
import pty
import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.command_line import netcheck

GOLDEN = Path(__file__).with_name("golden")
DAY = "2026-11-02"
PLAN = """format = 1

[site]
name = "Example site"
revision = "B"
keep-clear = 2

[[subnet]]
name = "process"
prefix = "10.62.20.0/24"
gateway = "10.62.20.1"

[[device]]
name = "filler-plc"
  [[device.interface]]
  name = "cpu"
  subnet = "process"
  address = "10.62.21.61"
  [[device.interface]]
  name = "module"
  subnet = "process"

[[device]]
name = "capper-plc"
  [[device.interface]]
  name = "cpu"
  subnet = "process"
  address = "10.62.20.80"
  mac = "00-00-5E-00-53-21"

[[device]]
name = "labeller-plc"
  [[device.interface]]
  name = "cpu"
  subnet = "process"
  address = "10.62.20.80"

[[survey]]
file = "site-hosts.csv"
taken = 2026-10-28
covers = ["10.62.20.0/24"]

[[accepted]]
rule = "same-subnet-twice"
subject = "filler-plc/cpu"
with = "filler-plc/module"
by = "site IT"
because = "both are needed"
until = 2026-12-31
"""
HOSTS = "address,mac,name\n10.62.20.80,00-00-5E-00-53-99,gate-camera\n"
CLEAN = PLAN.split("[[device]]")[0]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with the small plan."""
    return written(tmp_path / "small", PLAN)


def written(folder: Path, plan: str) -> Path:
    """Write a plan folder with this plan.toml and return it."""
    folder.mkdir()
    (folder / "plan.toml").write_text(plan, "utf-8")
    (folder / "site-hosts.csv").write_text(HOSTS, "utf-8")
    return folder


def on_terminal(*words: str | Path, columns: int, **variables: str) -> str:
    """Return the output of a command on a terminal that is *columns* wide."""
    main, side = pty.openpty()
    environment = {**os.environ, "COLUMNS": str(columns), "LINES": "40", "TERM": "xterm", **variables}
    command = [sys.executable, "-m", "netcheck", *map(str, words)]
    process = subprocess.Popen(
        command, stdout=side, stderr=subprocess.DEVNULL, stdin=subprocess.DEVNULL, env=environment
    )
    os.close(side)
    parts = []
    while True:
        try:
            part = os.read(main, 65536)
        except OSError:  # the other end is closed: Linux reports the end of file on a terminal in this way
            break
        if not part:
            break
        parts.append(part)
    os.close(main)
    process.wait(60)
    return b"".join(parts).decode()


def test_json_is_the_golden_file(folder: Path) -> None:
    """The JSON of a small plan equals the golden file, except for the program's version."""
    result = netcheck("check", folder, "--format", "json", "--today", DAY)
    assert result.stderr == ""
    assert result.returncode == 1
    found = json.loads(result.stdout)
    assert re.fullmatch(r"\d+\.\d+\.\d+", found.pop("netcheck"))
    assert found == json.loads((GOLDEN / "small.json").read_text("utf-8"))


def test_a_survey_that_cannot_be_read_does_not_stop_the_check(folder: Path) -> None:
    """The survey is a conflict, its subnets count as not surveyed, and the report lists it as not checked."""
    (folder / "notes.txt").write_text("call back on Monday\n")
    plan = folder / "plan.toml"
    text = plan.read_text("utf-8")
    covers = 'taken = 2026-10-28\ncovers = ["10.62.20.0/24"]\n'
    assert covers in text
    plan.write_text(text.replace(covers, "") + f'[[survey]]\nfile = "notes.txt"\n{covers}', "utf-8")
    result = netcheck("check", folder, "--format", "json", "--today", DAY)
    assert (result.returncode, result.stderr) == (1, "")
    found = {(one["rule"], *one["subjects"]): one for one in json.loads(result.stdout)["findings"]}
    assert "no column of addresses was found in it" in found["unreadable-value", "notes.txt"]["message"]
    assert ("not-surveyed", "process") in found
    assert ("taken-on-site", "labeller-plc/cpu") in found
    assert netcheck("report", folder, "--out", folder / "report.txt").returncode == 0
    gaps = (folder / "report.txt").read_text("utf-8").partition("What was not checked")[2]
    assert "notes.txt could not be read, so clashes with hosts in it were not checked" in gaps
    for command in ("suggest", "map"):
        other = netcheck(command, folder)
        assert (other.returncode, "notes.txt" in other.stderr) == (2 if command == "suggest" else 0, True)


def test_text_is_the_golden_file(folder: Path) -> None:
    """The plain text of the same plan equals the golden file."""
    result = netcheck("check", folder, "--today", DAY)
    assert result.stdout == (GOLDEN / "small.txt").read_text("utf-8")


@pytest.mark.parametrize("columns", [80, 120])
def test_screen_is_the_golden_file(columns: int, folder: Path) -> None:
    """The tables on a terminal without colour equal the golden file, and no line is wider than the terminal."""
    shown = on_terminal("check", folder, "--today", DAY, columns=columns, NO_COLOR="1").replace("\r\n", "\n")
    plain = re.sub(r"\x1b\[[0-9;]*m", "", shown)
    assert max(map(len, plain.splitlines())) <= columns
    assert [line.rstrip() for line in plain.splitlines()] == (GOLDEN / f"screen-{columns}.txt").read_text(
        "utf-8"
    ).splitlines()


def test_csv_has_a_row_for_each_finding(folder: Path) -> None:
    """The CSV, read by the standard library, has a row for each finding of the JSON, with the same rules (RFC 4180)."""
    result = netcheck("check", folder, "--format", "csv", "--today", DAY)
    rows = list(csv.DictReader(io.StringIO(result.stdout)))
    found = json.loads(netcheck("check", folder, "--format", "json", "--today", DAY).stdout)["findings"]
    assert [row["rule"] for row in rows] == [each["rule"] for each in found]
    assert [row["fix"] for row in rows if row["rule"] == "outside-subnet"] == ["10.62.20.169"]


# The elements of JUnit XML with their attributes (the second set is required) and children, as common readers expect
# them (common practice, no source: no standard is published).
JUNIT = {
    "testsuites": ({"name", "tests", "failures", "errors"}, set(), {"testsuite"}),
    "testsuite": (
        {"name", "tests", "failures", "errors", "skipped", "time"},
        {"name", "tests", "failures", "errors"},
        {"testcase"},
    ),
    "testcase": ({"classname", "name", "time"}, {"classname", "name"}, {"failure", "error", "system-out"}),
    "error": ({"message", "type"}, {"message", "type"}, set()),
    "failure": ({"message", "type"}, {"message", "type"}, set()),
    "system-out": (set(), set(), set()),
}


def assert_junit(element: ElementTree.Element) -> None:
    """Assert that an element and its children conform to the table."""
    allowed, required, inner = JUNIT[element.tag]
    assert required <= set(element.keys()) <= allowed
    for child in element:
        assert child.tag in inner
        assert_junit(child)


def test_the_failures_of_junit_are_those_of_exit_1(folder: Path, tmp_path: Path) -> None:
    """The XML has a case for each finding and for each rule without a finding.

    Exactly the conflicts fail, and the sums are right.
    """
    clean = written(tmp_path / "clean", CLEAN)
    result = netcheck("check", folder, clean, "--format", "junit", "--today", DAY)
    root = ElementTree.fromstring(result.stdout)
    assert_junit(root)
    first, second = root
    found = json.loads(netcheck("check", folder, "--format", "json", "--today", DAY).stdout)["findings"]
    failed = [case.get("name") for case in first if case.find("failure") is not None]
    assert failed == [each["rule"] for each in found if each["severity"] == "conflict"]
    assert (first.get("failures"), second.get("failures"), root.get("failures")) == ("4", "0", "4")
    assert [suite.get("tests") for suite in root] == [str(len(suite)) for suite in root]
    said = {case.get("name"): case.findtext("system-out") for case in first}
    assert {name for name, text in said.items() if text} == {
        each["rule"] for each in found if each["severity"] != "conflict"
    }
    strict = ElementTree.fromstring(netcheck("check", folder, "--strict", "--format", "junit", "--today", DAY).stdout)
    assert strict.get("failures") == str(sum(each["severity"] != "note" for each in found))


def test_junit_names_the_suites_of_several_plans_by_their_paths(folder: Path, tmp_path: Path) -> None:
    """Plans of one site often have the same name, but each suite and case has a different one."""
    other = written(tmp_path / "other", PLAN)
    root = ElementTree.fromstring(netcheck("check", folder, other, "--format", "junit", "--today", DAY).stdout)
    assert [suite.get("name") for suite in root] == [str(folder), str(other)]
    for suite in root:
        names = {str(case.get("classname")) for case in suite}
        assert all(name == suite.get("name") or name.startswith(f"{suite.get('name')}.") for name in names)
    single = ElementTree.fromstring(netcheck("check", folder, "--format", "junit", "--today", DAY).stdout)
    assert [suite.get("name") for suite in single] == ["Example site"]


def test_junit_takes_any_text(tmp_path: Path) -> None:
    """Names with characters that XML excludes (XML 1.0 section 2.2), or with markup, give valid XML."""
    folder = written(tmp_path / "hostile", PLAN.replace("filler-plc", "a]]>&<b>\\u0000\\u0007\\uFFFE"))
    result = netcheck("check", folder, "--format", "junit")
    assert_junit(ElementTree.fromstring(result.stdout))
    assert result.returncode == 1


def test_markdown_shows_markup_as_text(tmp_path: Path) -> None:
    """A name that looks like a table cell, a link and a tag stays text (CommonMark section 2.4)."""
    folder = written(tmp_path / "hostile", PLAN)
    (folder / "site-hosts.csv").write_text("address,name\n10.62.20.80,a|b[c](http://d)<img>&lt;\n", "utf-8")
    shown = netcheck("check", folder, "--format", "markdown").stdout
    assert r"a\|b\[c\]\(http\://d\)\<img\>\&lt;" in shown
    rows = [line for line in shown.splitlines() if "taken-on-site" in line]
    assert {len(re.findall(r"(?<!\\)\|", row)) for row in rows} == {7}


def test_paths_are_printed_with_the_option() -> None:
    """`--paths` shows every conversation in both directions, in text and as a further key of the JSON."""
    creamery = Path(__file__).parents[2] / "plans" / "tarn-hollow"
    shown = netcheck("check", creamery, "--paths").stdout
    assert "line-panel/lan has mask 255.255.0.0" in shown
    assert "change the mask of line-panel/lan to 255.255.255.0 (/24)" in shown
    assert "pasteuriser-plc/cpu -> 10.62.20.1 -> line-panel/lan" in shown
    paths = json.loads(netcheck("check", creamery, "--paths", "--format", "json").stdout)["paths"]
    assert f"Conversations ({len(paths)})" in shown
    assert len(paths) == sum(re.search(r"\s{2}there\s{2}", line) is not None for line in shown.splitlines())
    assert {way["there"]["outcome"] for way in paths} == {"delivered", "lost", "undecided"}
    table = netcheck("check", creamery, "--paths", "--format", "markdown").stdout
    assert f"## Conversations ({len(paths)})" in table.replace("\\", "")
    assert len(re.findall(r"^\|[^|]*\|\s*(?:there|back)\s*\|", table, re.MULTILINE)) == 2 * len(paths)
    assert netcheck("check", creamery, "--paths", "--format", "junit").returncode == 2


def test_a_clean_plan_gives_exit_0(tmp_path: Path) -> None:
    """A plan without findings gives exit 0, an empty list and counts of zero."""
    result = netcheck("check", written(tmp_path / "clean", CLEAN), "--format", "json")
    assert result.returncode == 0
    assert json.loads(result.stdout)["findings"] == []
    assert json.loads(result.stdout)["summary"]["conflict"] == 0


def test_strict_counts_risks(tmp_path: Path) -> None:
    """A risk gives exit 0, and exit 1 with --strict."""
    risky = written(
        tmp_path / "risky", CLEAN + "vlan = 5\n[[subnet]]\nname = 'b'\nprefix = '10.62.30.0/24'\nvlan = 5\n"
    )
    assert netcheck("check", risky).returncode == 0
    assert netcheck("check", risky, "--strict").returncode == 1


def test_several_plans_give_a_list_and_the_highest_exit_code(tmp_path: Path, folder: Path) -> None:
    """Several plans give a list in their order and the highest exit code."""
    clean = written(tmp_path / "clean", CLEAN)
    result = netcheck("check", clean, folder, "--format", "json", "--today", DAY)
    assert result.returncode == 1
    assert [each["summary"]["conflict"] > 0 for each in json.loads(result.stdout)] == [False, True]


def test_a_plan_that_cannot_be_read_gives_exit_2(tmp_path: Path, folder: Path) -> None:
    """A plan that cannot be read is reported on standard error with exit 2, and the other plan is still printed."""
    bad = written(tmp_path / "bad", 'format = 1\nsurprise = 1\n[site]\nname = "x"\n')
    result = netcheck("check", bad, folder, "--format", "json", "--today", DAY)
    assert result.returncode == 2
    assert "surprise" in result.stderr
    assert "Traceback" not in result.stderr
    broken, whole = json.loads(result.stdout)
    assert (broken["plan"]["name"], broken["findings"], broken["summary"]) == (str(bad), None, None)
    assert 'key "surprise" is not known' in [each["what"] for each in broken["problems"]]
    assert {each["where"] for each in broken["problems"]} == {f"{bad}: plan.toml line 2"}
    assert whole["plan"]["name"] == "Example site"


def test_every_form_shows_a_plan_that_cannot_be_read(tmp_path: Path, folder: Path) -> None:
    """For a plan that cannot be read, CSV has a row, Markdown a heading and JUnit an error, and the exit code is 2."""
    bad = tmp_path / "nowhere"
    run = {
        form: netcheck("check", folder, bad, "--format", form, "--today", DAY) for form in ("csv", "markdown", "junit")
    }
    assert {form: result.returncode for form, result in run.items()} == {"csv": 2, "markdown": 2, "junit": 2}
    rows = list(csv.DictReader(io.StringIO(run["csv"].stdout)))
    assert {row["plan"] for row in rows if row["rule"]} == {str(folder)}
    assert [(row["plan"], row["severity"]) for row in rows if not row["rule"]] == [(str(bad), "not-checked")]
    assert re.search(r"^# .*nowhere: not checked$", run["markdown"].stdout, re.MULTILINE)
    root = ElementTree.fromstring(run["junit"].stdout)
    assert_junit(root)
    assert [suite.get("errors") for suite in root] == ["0", "1"]
    assert (root.get("errors"), len(root.findall(".//error"))) == ("1", 1)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("check", "no-such-folder"), "no-such-folder"),
        (("check", ".", "--today", "2026-13-01"), "2026-11-02"),
        (
            ("check", ".", "--format", "pdf"),
            "'--format': 'pdf' is not one of 'text', 'json', 'csv', 'markdown', 'junit'. See",
        ),
        (("check", ".", "--fromat", "csv"), "`netcheck check --help`"),
        (("check",), "PLAN"),
        (("rules", "taken-onsite"), "taken-on-site"),
        (("rules", "zzz"), "netcheck rules"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_bad_use_gives_exit_2(words: tuple[str, ...], said: str, tmp_path: Path) -> None:
    """Bad use gives exit 2 and one line on standard error that says what is wrong or what to do."""
    result = netcheck(*words, cwd=tmp_path)
    assert result.returncode == 2
    assert said in result.stderr
    assert result.stdout == ""
    assert "Traceback" not in result.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
@pytest.mark.parametrize("form", ["text", "json", "csv", "junit"])
def test_a_full_disk_gives_exit_2(form: str, folder: Path) -> None:
    """A full disk gives exit 2 and one line; a script does not mistake it for findings."""
    words = [sys.executable, "-m", "netcheck", "check", str(folder), "--format", form]
    with open("/dev/full", "wb") as full:
        result = subprocess.run(words, stdout=full, stderr=subprocess.PIPE, text=True, check=False, timeout=60)
    assert (result.returncode, result.stderr) == (
        2,
        "netcheck: standard output: the disk is full. Free some space and try again\n",
    )


@pytest.mark.skipif(os.name != "posix", reason="needs a shell that closes a stream")
def test_a_closed_output_is_no_error(folder: Path) -> None:
    """A closed standard output changes neither the exit code nor standard error."""
    words = ["sh", "-c", 'exec "$@" >&-', "sh", sys.executable, "-m", "netcheck", "check", str(folder)]
    result = subprocess.run(words, stderr=subprocess.PIPE, text=True, check=False, timeout=60)
    assert (result.returncode, result.stderr) == (1, "")


def test_escapes_and_markup_are_shown_as_text(tmp_path: Path) -> None:
    """Terminal escapes (ECMA-48) and markup in a camera's name are shown as text."""
    folder = written(tmp_path / "hostile", PLAN)
    (folder / "site-hosts.csv").write_text("address,name\n10.62.20.80,\x1b]0;owned\x07[bold]x[/bold]\u202e\n", "utf-8")
    for text in (on_terminal("check", folder, columns=200), netcheck("check", folder).stdout):
        assert "\x1b]" not in text
        assert "\x07" not in text
        assert "\u202e" not in text
        assert "[bold]x[/bold]" in text


def test_a_terminal_without_utf_8_gets_ascii(folder: Path) -> None:
    """Without UTF-8, the tables are drawn with ASCII."""
    shown = on_terminal("check", folder, columns=80, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert shown.isascii()
    assert "outside-subnet" in shown


def test_rules_lists_all_and_explains_one() -> None:
    """The list names each rule; the page of a rule has what, why, source and both examples."""
    listing = netcheck("rules")
    assert listing.returncode == 0
    assert "too-near                risk      The address is nearer" in listing.stdout
    page = netcheck("rules", "too-near")
    assert page.returncode == 0
    for part in (
        "too-near (risk)",
        "what",
        "why",
        "source  our own rule, because",
        "keep-clear = 4",
        "10.62.20.63",
        "10.62.20.65",
    ):
        assert part in page.stdout


def test_a_bad_example_of_the_json_gives_its_finding(tmp_path: Path) -> None:
    """The JSON has each rule with the files of its examples, and a bad example gives a finding of its rule."""
    every = json.loads(netcheck("rules", "--format", "json").stdout)
    (one,) = [rule for rule in every if rule["rule"] == "too-near"]
    assert json.loads(netcheck("rules", "too-near", "--format", "json").stdout) == one
    assert {len(rule) for rule in every} == {7}
    for name, text in one["bad"].items():
        (tmp_path / name).write_text(text, "utf-8")
    found = json.loads(netcheck("check", tmp_path, "--format", "json", "--today", DAY).stdout)["findings"]
    assert [finding["rule"] for finding in found] == ["too-near"]


@pytest.mark.parametrize("command", ["check", "rules"])
def test_help_has_an_example(command: str) -> None:
    """`--help` of each command shows an example."""
    result = netcheck(command, "--help")
    assert result.returncode == 0
    assert f"Example: netcheck {command}" in result.stdout


def test_check_imports_no_heavy_library(folder: Path) -> None:
    """A small plan is checked without importing the libraries that only other commands need."""
    code = "import sys\nfrom netcheck.cli.main import run\ntry:\n run()\nexcept SystemExit:\n pass\n"
    heavy = "print(sorted({'scapy', 'openpyxl', 'jinja2', 'dns', 'tomlkit', 'netaddr'} & set(sys.modules)))"
    command = [sys.executable, "-c", code + heavy, "check", str(folder), "--format", "json"]
    result = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60)
    assert result.stdout.splitlines()[-1] == "[]"


def test_many_findings_of_a_rule_are_summed_up(tmp_path: Path) -> None:
    """Two thousand bad rows of a table are summed up by rule, and another conflict is still shown."""
    rows = "".join(f"d{number},x,process,10.62.20.999\n" for number in range(2000))
    (tmp_path / "table.csv").write_text(f"device,interface,subnet,address\n{rows}last,x,process,10.62.99.1\n", "ascii")
    subnet = '[[subnet]]\nname = "process"\nprefix = "10.62.20.0/24"\n'
    head = 'format = 1\ninterfaces = "table.csv"\n[site]\nname = "Example"\n'
    plan = written(tmp_path / "plan", head.replace("table.csv", "../table.csv") + subnet)
    shown = [netcheck("check", plan).stdout, on_terminal("check", plan, columns=120)]
    for text in shown:
        assert "(2001)" in text
        assert "outside-subnet" in text
        assert "... and 1,750 more unreadable-value: --format json or csv has them all" in " ".join(text.split())
    assert len(shown[0].splitlines()) < 300


@pytest.mark.parametrize(("devices", "last"), [(100, None), (101, "1 more place has"), (200, "100 more places have")])
def test_a_mistake_of_every_device_does_not_hide_the_others(tmp_path: Path, devices: int, last: str | None) -> None:
    """A problem is printed for its first 100 places; the others are counted, and no other problem is hidden."""
    head = 'format = 1\n[site]\nname = "Mill"\nplant = "north"\n'
    rows = "".join(f'[[device]]\nname = "drive-{number}"\nlocation = "hall 1"\n' for number in range(devices))
    (tmp_path / "plan.toml").write_text(head + rows + '[[station]]\nname = "laptop"\nsubnet = "x"\n', "utf-8")
    ended = netcheck("check", tmp_path)
    lines = ended.stderr.splitlines()
    assert ended.returncode == 2
    assert sum("device drive-" in line and 'key "location"' in line for line in lines) == 100
    assert sum('key "plant"' in line or "station laptop" in line for line in lines) >= 2
    assert [line for line in lines if "this problem" in line] == (
        [] if last is None else [f'netcheck: {last} this problem: key "location" is not known; did you mean "place"?']
    )
