"""The check of plans as JUnit XML, the form that build servers read: one suite a plan, one case a rule."""

from __future__ import annotations

import re
from collections.abc import Iterable
from xml.etree import ElementTree

from netcheck.report.findings_rows import row_of
from netcheck.rules.catalogue import RULES
from netcheck.rules.engine import Checked
from netcheck.rules.finding import Finding, Severity
from netcheck.rules.rule import Rule
from netcheck.text import safe

# XML 1.0 section 2.2 has no place for these two; the controls are escaped by `safe`.
_NO_XML = re.compile("[\ufffe\uffff]")


def to_junit(several: Iterable[Checked], *, strict: bool) -> str:
    """Failures are what gives exit code 1: conflicts, with `strict` risks too; other findings are a case's output."""
    root = ElementTree.Element("testsuites")
    for checked in several:
        root.append(_suite(checked, {Severity.CONFLICT, Severity.RISK} if strict else {Severity.CONFLICT}))
    ElementTree.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n"


def _suite(checked: Checked, failing: set[Severity]) -> ElementTree.Element:
    by_rule: dict[str, list[Finding]] = {}
    for finding in checked.findings:
        by_rule.setdefault(finding.rule, []).append(finding)
    failures = sum(rule.severity in failing and rule.slug in by_rule for rule in RULES)
    counts = {"tests": str(len(RULES)), "failures": str(failures), "errors": "0"}
    suite = ElementTree.Element("testsuite", {"name": _xml(checked.plan.name), **counts})
    for rule in RULES:
        suite.append(_case(rule, by_rule.get(rule.slug, []), failed=rule.severity in failing))
    return suite


def _case(rule: Rule, findings: list[Finding], *, failed: bool) -> ElementTree.Element:
    case = ElementTree.Element("testcase", {"classname": f"netcheck.{rule.severity}", "name": rule.slug})
    if findings:
        count = "1 finding" if len(findings) == 1 else f"{len(findings)} findings"
        attributes = {"message": f"{count}: {rule.what}", "type": rule.severity.value}
        child = ElementTree.SubElement(case, "failure" if failed else "system-out", attributes if failed else {})
        child.text = "\n".join(map(_line, findings))
    return case


def _line(finding: Finding) -> str:
    row = row_of(finding)
    fix = f" Fix: {row.fix}." if row.fix else ""
    return _xml(f"{row.subject}: {row.message}.{fix} ({row.where})")


def _xml(text: str) -> str:
    return _NO_XML.sub("\ufffd", safe(text, 4000))
