"""Tests two revisions of a plan from draft to grant and proof, with the files that integrator and IT exchange."""

from __future__ import annotations

import json
import re
import subprocess
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl

from netcheck.plan.read import read_plan
from tests.cli.test_cli_answers import netcheck
from tests.report.made import write_plan

Answers = dict[str, dict[str, Any]]
STATIONS = """
[[station]]
name = "laptop"
address = "10.62.20.245/24"
[[station]]
name = "laptop in packing"
address = "10.62.30.245/24"
"""
PROPOSAL, LIVE, CHANGE, QUESTION = "use the proposal", "live with it as it is", "change it to", "question"


def done(folder: Path, *words: str, day: str, code: int = 0) -> subprocess.CompletedProcess[str]:
    """Run a command that must end with this exit code."""
    result = netcheck(folder, *words, day=day)
    assert result.returncode == code, (words, result)
    return result


def filled(file: Path, sheet: str, answers: Answers, key: str) -> None:
    """Fill in a sheet of a workbook like a reviewer: rows by the text of one column, cells by title."""
    book = openpyxl.load_workbook(file)
    titles = [cell.value for cell in book[sheet][1]]
    for row in book[sheet].iter_rows(min_row=2):
        for title, value in answers.get(str(row[titles.index(key)].value), {}).items():
            row[titles.index(title)].value = value
    book.save(file)


def findings(folder: Path, day: str) -> dict[str, str]:
    """Return the open findings of the plan: the severity by rule and subject."""
    shape = json.loads(netcheck(folder, "check", "p", "--format", "json", day=day).stdout)
    return {f"{one['rule']} of {one['subjects'][0]}": one["severity"] for one in shape["findings"]}


def test_two_revisions_from_draft_to_grant(tmp_path: Path) -> None:
    """The steps are draft, answers in the workbook, second revision, grants, rehearsal, and the report with proofs."""
    plan = write_plan(tmp_path / "p") / "plan.toml"
    text = plan.read_text("utf-8").replace('address = "10.62.20.150"', 'address = "10.62.20.15O"')
    plan.write_text(text + STATIONS, "utf-8")
    hosts = plan.with_name("site-hosts.csv")
    hosts.write_text(hosts.read_text("utf-8").replace("here be cameras,,\n", ""), "utf-8")
    first = findings(tmp_path, "2026-11-20")
    assert {"taken-on-site of pasteuriser-plc/cpu", "inside-pool of line-panel/lan"} <= first.keys()
    (tmp_path / "old").mkdir()
    for file in (tmp_path / "p").iterdir():
        (tmp_path / "old" / file.name).write_bytes(file.read_bytes())

    done(tmp_path, "report", "p", "--out", "c.xlsx", "--reply-by", "2026-12-01", day="2026-11-20")
    rules: Answers = {
        "taken-on-site": {"decision": PROPOSAL, "by": "site IT"},
        "inside-pool": {"decision": QUESTION, "remark": "who needs it?", "by": "site IT"},
        "unreadable-value": {
            "decision": CHANGE,
            "change-to": "10.62.20.150",
            "remark": "an O",
            "by": "site IT",
        },
        "not-surveyed": {"decision": LIVE, "by": "site IT", "until": date(2027, 1, 31)},
        "too-near": {"decision": "withdraw", "by": "site IT"},
    }
    filled(tmp_path / "c.xlsx", "findings", rules, "rule")
    told = done(tmp_path, "answers", "p", "c.xlsx", day="2026-11-23").stdout
    assert "2 new addresses" in told
    assert "1 withdrawn" in told
    after = (tmp_path / "p" / "plan.toml").read_bytes()
    assert done(tmp_path, "answers", "p", "c.xlsx", day="2026-11-24").stderr == "nothing to write\n"
    assert (tmp_path / "p" / "plan.toml").read_bytes() == after
    asked = read_plan(tmp_path / "p").remarks
    assert [(one.decision, one.remark, str(one.decided)) for one in asked] == [
        (QUESTION, "who needs it?", "2026-11-23"),
        (CHANGE, "an O", "2026-11-23"),
    ]
    assert findings(tmp_path, "2026-11-24")["question-without-reply of line-panel/lan"] == "note"

    text = plan.read_text("utf-8").replace(
        'remark = "who needs it?"', 'remark = "who needs it?"\nreply = "nobody: moved"'
    )
    plan.write_text(text, "utf-8")
    done(tmp_path, "suggest", "p", "--write", day="2026-11-25")
    left = findings(tmp_path, "2026-11-25")
    assert [name for name, severity in left.items() if severity == "conflict"] == []
    assert not [name for name in left if name.startswith("question-without-reply")]

    done(tmp_path, "report", "p", "--since", "old", "--out", "d.xlsx", "--out", "d.md", day="2026-11-25")
    second = (tmp_path / "d.md").read_text("utf-8").replace("\\", "")
    assert "0 open; 1 accepted" in second
    assert "nobody: moved" in second
    assert "Resolved findings (3)" in second
    book = openpyxl.load_workbook(tmp_path / "d.xlsx")
    said = list(book["questions and changes"].iter_rows(values_only=True))
    assert [(row[9], row[10]) for row in said[1:]] == [("nobody: moved", "resolved"), (None, "resolved")]

    kinds = [str(row[0]) for row in book["requests"].iter_rows(min_row=2, values_only=True)]
    grant = {"granted": "x", "by": "site IT", "ticket": "CHG-7", "date": "2026-11-27"}
    filled(tmp_path / "d.xlsx", "requests", dict.fromkeys(kinds, grant), "kind")
    told = done(tmp_path, "answers", "p", "d.xlsx", day="2026-11-27").stdout
    assert f"{len(kinds)} granted, 0 refused, 0 to correct, 0 not answered" in told
    assert done(tmp_path, "answers", "p", "d.xlsx", day="2026-11-30").stderr == "nothing to write\n"

    netcheck_rehearse(tmp_path)
    done(tmp_path, "report", "p", "--record", "run.jsonl", "--out", "e.txt", "--out", "e.xlsx", day="2026-11-30")
    last = (tmp_path / "e.txt").read_text("utf-8")
    assert "SIMULATED" in last.splitlines()[0]
    proven = re.search(r"(\d+) of 11 ports proven \(SIMULATED\)", last.splitlines()[0])
    assert proven is not None
    assert int(proven[1]) >= 8
    assert "reservation" not in next(line for line in last.splitlines() if line.startswith("Needed from IT"))
    proofs = list(openpyxl.load_workbook(tmp_path / "e.xlsx")["proofs"].iter_rows(values_only=True))
    assert [row[2] for row in proofs[1:]].count("proven (SIMULATED)") == int(proven[1])


def netcheck_rehearse(folder: Path) -> None:
    """Rehearse every port of the plan on a healthy simulated bench."""
    import sys
    from contextlib import chdir, redirect_stderr, redirect_stdout
    from io import StringIO

    from netcheck.cli.main import run

    before, sys.argv = sys.argv, ["netcheck", "rehearse", "p", "--record", "run.jsonl", "--hands-free"]
    code: object = None
    try:
        with chdir(folder), redirect_stdout(StringIO()), redirect_stderr(StringIO()):
            run()
    except SystemExit as end:
        code = end.code
    finally:
        sys.argv = before
    assert code in (0, 1)  # 1: hands-free, nothing shows which of the two ports of a device was pulled
