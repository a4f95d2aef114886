"""Writes the check of plans as JUnit XML: one suite a plan, one case for each finding and each rule without one."""

from __future__ import annotations

import re
from collections.abc import Iterable
from xml.etree import ElementTree

from netcheck.report.finding_groups import NOT_CHECKED, Result, Unread, row_of
from netcheck.rules.catalogue import RULES
from netcheck.rules.engine import Checked
from netcheck.rules.finding import Finding, Severity
from netcheck.text import listed, safe

# XML 1.0 section 2.2 excludes these two characters; `safe` escapes the control characters.
_NO_XML = re.compile("[\ufffe\uffff]")


def to_junit(several: Iterable[Result], *, strict: bool) -> str:
    """Return the XML of several plans.

    Conflicts, with *strict* risks too, are failures, as for exit code 1. Other findings are the output of a passed
    case. Problems that prevent a plan from being read are errors.
    """
    failing = {Severity.CONFLICT, Severity.RISK} if strict else {Severity.CONFLICT}
    suites = [_unread(each) if isinstance(each, Unread) else _suite(each, failing) for each in several]
    sums = {key: str(sum(int(suite.get(key, "0")) for suite in suites)) for key in ("tests", "failures", "errors")}
    root = ElementTree.Element("testsuites", {"name": "netcheck", **sums})
    root.extend(suites)
    ElementTree.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n"


def _suite(checked: Checked, failing: set[Severity]) -> ElementTree.Element:
    """Return a suite; a case has the rule's name, and its class name holds plan and subjects."""
    by_rule: dict[str, list[Finding]] = {}
    for finding in checked.findings:
        by_rule.setdefault(finding.rule, []).append(finding)
    cases = [_failed(checked, finding, failing) for finding in checked.findings]
    cases += [_case(checked.plan.name, rule.slug) for rule in RULES if rule.slug not in by_rule]
    failures = sum(finding.severity in failing for finding in checked.findings)
    counts = {"tests": len(cases), "failures": failures, "errors": 0, "skipped": 0, "time": 0}
    texts = {key: str(count) for key, count in counts.items()}
    suite = ElementTree.Element("testsuite", {"name": _xml(checked.plan.name), **texts})
    suite.extend(cases)
    return suite


def _unread(unread: Unread) -> ElementTree.Element:
    """Return a suite with one case for each problem, named by its place."""
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


def _failed(checked: Checked, finding: Finding, failing: set[Severity]) -> ElementTree.Element:
    # Build servers group class names by the part before the last point, here the plan.
    case = _case(f"{checked.plan.name}.{listed(list(finding.subjects))}", finding.rule)
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
