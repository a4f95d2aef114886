"""What the templates of the page are filled with, worked out beforehand so that they only lay it out. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from netcheck.caution import CAUTION
from netcheck.plan.model import Plan
from netcheck.proof.result import Verdict
from netcheck.record.verification import Record
from netcheck.report import words
from netcheck.report.map_parts import maps_of
from netcheck.report.model import Report
from netcheck.report.not_checked import not_checked
from netcheck.report.verifying import SNIPPET
from netcheck.rules.finding import Finding, Severity
from netcheck.rules.rule import Rule
from netcheck.space.cells import Use


@dataclass(frozen=True, slots=True)
class Numbered:
    """A finding with its number in this report and the anchor of its row."""

    number: int
    anchor: str
    finding: Finding


@dataclass(frozen=True, slots=True)
class ByRule:
    """The findings of one rule, whose reason and source are said once above them."""

    rule: Rule
    findings: tuple[Numbered, ...]


@dataclass(frozen=True, slots=True)
class BySeverity:
    """The findings of one severity by rule."""

    severity: Severity
    count: int
    rules: tuple[ByRule, ...]


def values_of(report: Report) -> dict[str, Any]:
    """Every name that the templates use, beside the functions of the environment."""
    return {
        "report": report,
        "plan": report.plan,
        "headline": words.headline(report),
        "alarms": words.alarms(report),
        "not_checked": not_checked(report),
        "groups": grouped(report),
        "maps": maps_of(report),
        "uses": tuple(Use),
        "open_ports": tuple((n, port) for n, port in enumerate(report.ports, 1) if port.verdict is not Verdict.PROVEN),
        "runs_of": {record.path: _runs(record, report.plan) for record in report.records},
        "caution": CAUTION,
        "caution_numbers": words.CAUTION_NUMBERS,
        "cannot_show": words.CANNOT_SHOW,
        "snippet": SNIPPET,
    }


def grouped(report: Report) -> tuple[BySeverity, ...]:
    """Findings by severity, the gravest first, then by rule in the order in which the rules first appear."""
    rules = {rule.slug: rule for rule in report.rules}
    groups: list[BySeverity] = []
    anchors: Counter[str] = Counter()
    number = 0
    for severity in Severity:
        by_rule: dict[str, list[Finding]] = {}
        for finding in report.checked.findings:
            if finding.severity is severity:
                by_rule.setdefault(finding.rule, []).append(finding)
        parts = []
        for slug, findings in by_rule.items():
            parts.append(ByRule(rules[slug], _numbered(findings, number, anchors)))
            number += len(findings)
        groups += [BySeverity(severity, sum(len(part.findings) for part in parts), tuple(parts))] if parts else []
    return tuple(groups)


def _numbered(findings: Iterable[Finding], before: int, anchors: Counter[str]) -> tuple[Numbered, ...]:
    found = []
    for number, finding in enumerate(findings, before + 1):
        anchors[finding.key] += 1
        again = anchors[finding.key]  # the same clash may be found twice, and no anchor may stand twice
        found.append(Numbered(number, finding.key if again == 1 else f"{finding.key}-{again}", finding))
    return tuple(found)


def _runs(record: Record, plan: Plan) -> tuple[tuple[str, str], ...]:
    """What a record's runs were made with, each name and value once, in order; permits are kept apart by `; `."""
    runs = record.content.runs
    same = record.content.sha256 == plan.sha256
    told = "the plan of this report" if same else "an earlier state of the plan; each row was compared with this one"
    return (
        ("Revision", "; ".join(dict.fromkeys(run.revision or "none" for run in runs))),
        ("Plan's SHA-256", f"{record.content.sha256} ({told})"),
        ("Station", "; ".join(dict.fromkeys(run.station or "none" for run in runs))),
        ("Interface", "; ".join(dict.fromkeys(run.interface or "none" for run in runs))),
        ("Permit", "; ".join(dict.fromkeys(run.permit or "none" for run in runs))),
        ("netcheck", "; ".join(dict.fromkeys(run.version or "unknown" for run in runs))),
    )
