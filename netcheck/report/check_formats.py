"""Writes the checks of one or several plans as JSON, Markdown, CSV and JUnit XML.

A plan that cannot be read is shown with the others. In JUnit XML a plan is a suite; each finding is a case, and so is
each rule without a finding.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any
from xml.etree import ElementTree

from netcheck import __version__
from netcheck.answers.table import COLUMNS, LONGEST_CELL, cells_of
from netcheck.errors import Problem
from netcheck.report.csv_tables import rows_to_csv
from netcheck.report.finding_groups import NOT_CHECKED, Result, Unread, row_of
from netcheck.report.json_report import checked_json
from netcheck.report.text_report import checked_to_markdown, escaped
from netcheck.rules.catalogue import RULES
from netcheck.rules.engine import Checked
from netcheck.rules.finding import Finding, Severity
from netcheck.tables.delimited import guarded
from netcheck.text import listed, safe


def result_json(result: Result) -> dict[str, Any]:
    """Return the object of one plan; a value that is not known because the plan cannot be read is null."""
    if not isinstance(result, Unread):
        return checked_json(result)
    plan = {"name": result.path, "revision": None, "sha256": None}
    problems = [{"what": one.what, "where": one.where, "do": one.do} for one in result.problems]
    nothing = dict.fromkeys(("summary", "findings", "accepted"))
    return {"netcheck": __version__, "plan": plan, **nothing, "problems": problems}


def result_markdown(result: Result, path: str = "") -> str:
    """Return the heading and the tables of one plan, or the problems that prevent it from being read.

    If *path* is given, the heading begins with it.
    """
    if not isinstance(result, Unread):
        text = checked_to_markdown(result)
        return text.replace("# ", f"# {escaped(safe(path, 200))}: ", 1) if path else text
    heading = f"# {escaped(safe(result.path, 200))}: not checked\n\n"
    return heading + "".join(f"- {escaped(safe(str(problem), 2000))}\n" for problem in result.problems)


def results_csv(results: Sequence[tuple[str, Result]]) -> bytes:
    """Return the findings of several plans as one table; the first column is the plan's path as given."""
    rows = ((guarded(safe(path, 1000)), *row) for path, result in results for row in _rows(result))
    return rows_to_csv(("plan", *COLUMNS), rows)


def _rows(result: Result) -> Iterable[tuple[str, ...]]:
    if not isinstance(result, Unread):
        return map(cells_of, result.findings)
    return [_row(problem) for problem in result.problems]


def _row(problem: Problem) -> tuple[str, ...]:
    what = problem.what + (f". {problem.do}" if problem.do else "")
    cells = {"severity": NOT_CHECKED, "message": what, "where": problem.where}
    return tuple(guarded(safe(cells.get(column, ""), LONGEST_CELL)) for column in COLUMNS)


# XML 1.0 section 2.2 excludes these two characters; `safe` escapes the control characters.
_NO_XML = re.compile("[\ufffe\uffff]")


def to_junit(results: Sequence[tuple[str, Result]], *, strict: bool) -> str:
    """Return the XML of plans with their paths; a suite has the plan's name, or its path if there are several plans.

    Conflicts, with *strict* risks too, are failures, as for exit code 1. Other findings are the output of a passed
    case. Problems that prevent a plan from being read are errors.
    """
    failing = {Severity.CONFLICT, Severity.RISK} if strict else {Severity.CONFLICT}
    suites = []
    for path, result in results:
        if isinstance(result, Unread):
            suites.append(_unread(result))
        else:
            suites.append(_suite(result, path if len(results) > 1 else result.plan.name, failing))
    sums = {key: str(sum(int(suite.get(key, "0")) for suite in suites)) for key in ("tests", "failures", "errors")}
    root = ElementTree.Element("testsuites", {"name": "netcheck", **sums})
    root.extend(suites)
    ElementTree.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n"


def _suite(checked: Checked, name: str, failing: set[Severity]) -> ElementTree.Element:
    """Return a suite; a case has the rule's name, and its class name contains the suite's name and the subjects."""
    by_rule: dict[str, list[Finding]] = {}
    for finding in checked.findings:
        by_rule.setdefault(finding.rule, []).append(finding)
    cases = [_failed(name, finding, failing) for finding in checked.findings]
    cases += [_case(name, rule.slug) for rule in RULES if rule.slug not in by_rule]
    failures = sum(finding.severity in failing for finding in checked.findings)
    counts = {"tests": len(cases), "failures": failures, "errors": 0, "skipped": 0, "time": 0}
    texts = {key: str(count) for key, count in counts.items()}
    suite = ElementTree.Element("testsuite", {"name": _xml(name), **texts})
    suite.extend(cases)
    return suite


def _unread(unread: Unread) -> ElementTree.Element:
    """Return a suite with one case for each problem; the place of the problem is the name of the case."""
    count = str(len(unread.problems))
    counts = {"tests": count, "failures": "0", "errors": count, "skipped": "0", "time": "0"}
    suite = ElementTree.Element("testsuite", {"name": _xml(unread.path), **counts})
    for problem in unread.problems:
        case = _case(unread.path, _xml(problem.where) or "reading")
        ElementTree.SubElement(case, "error", {"message": _xml(problem.what), "type": NOT_CHECKED}).text = _xml(
            str(problem)
        )
        suite.append(case)
    return suite


def _case(owner: str, rule: str) -> ElementTree.Element:
    return ElementTree.Element("testcase", {"classname": _xml(owner), "name": rule, "time": "0"})


def _failed(name: str, finding: Finding, failing: set[Severity]) -> ElementTree.Element:
    # Build servers group class names by the part before the last point, here the plan.
    case = _case(f"{name}.{listed(list(finding.subjects))}", finding.rule)
    if finding.severity in failing:
        attributes = {"message": _xml(finding.message), "type": finding.severity.value}
        ElementTree.SubElement(case, "failure", attributes).text = _line(finding)
    else:
        ElementTree.SubElement(case, "system-out").text = f"{finding.severity.value}: {_line(finding)}"
    return case


def _line(finding: Finding) -> str:
    row = row_of(finding)
    fix = f" Fix: {row.fix}." if row.fix else ""
    return _xml(f"{row.subject}: {row.message}.{fix} Source: {finding.source} ({row.where})")


def _xml(text: str) -> str:
    return _NO_XML.sub("\ufffd", safe(text, 4000))
