"""Computes the values of the page's templates, so that these only lay out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Any

from markupsafe import Markup, escape

from netcheck.caution import CAUTION
from netcheck.plan.model import Plan
from netcheck.proof.result import Verdict
from netcheck.record.verify import VerifiedRecord
from netcheck.report import words
from netcheck.report.html.map_parts import maps_of
from netcheck.report.html.verifier import SNIPPET
from netcheck.report.model import Report
from netcheck.report.words import not_checked
from netcheck.requests.build import asked_of
from netcheck.rules.finding import Finding, Severity
from netcheck.rules.rule import Rule
from netcheck.space.map_cells import Use

TABLE = 100  # rows of one table
MANY = 200  # findings or ports; above it a browser lays out only the visible part


@dataclass(frozen=True, slots=True)
class Numbered:
    """A finding with its number in this report and the anchor of its row."""

    number: int
    anchor: str
    finding: Finding


@dataclass(frozen=True, slots=True)
class ByRule:
    """Findings of one rule. `count` is the number of all its findings; `continued` marks a rule that began in the table
    before."""

    rule: Rule
    findings: tuple[Numbered, ...]
    count: int
    continued: bool = False


@dataclass(frozen=True, slots=True)
class BySeverity:
    """The findings of one severity by rule, in tables of at most `TABLE` rows, which browsers lay out one by one."""

    severity: Severity
    count: int
    tables: tuple[tuple[ByRule, ...], ...]


def values_of(report: Report) -> dict[str, Any]:
    """Return every name that the templates use, in addition to the functions of the environment."""
    return {
        "report": report,
        "plan": report.plan,
        "headline": words.headline(report),
        "alarms": words.alarms(report),
        "not_checked": not_checked(report),
        "needed": words.needed_from_it(asked_of(report.checked), report),
        "groups": grouped(report),
        "asked": asked_of(report.checked),
        "many": max(len(report.checked.findings), len(report.ports)) > MANY,
        "table_rows": TABLE,
        "maps": maps_of(report),
        "uses": tuple(Use),
        "open_ports": tuple((n, port) for n, port in enumerate(report.ports, 1) if port.verdict is not Verdict.PROVEN),
        "runs_of": {record.path: _runs(record, report.plan) for record in report.records},
        "caution": CAUTION,
        "caution_numbers": words.CAUTION_NUMBERS,
        "cannot_show": words.CANNOT_SHOW,
        "snippet": Markup(escape(SNIPPET)),  # our own text, with its line breaks
    }


def grouped(report: Report) -> tuple[BySeverity, ...]:
    """Return the findings by severity, conflicts first, then by rule in order of appearance."""
    rules = {rule.slug: rule for rule in report.rules}
    by_rule: dict[Severity, dict[str, list[Finding]]] = {severity: {} for severity in Severity}
    for finding in report.checked.findings:
        by_rule[finding.severity].setdefault(finding.rule, []).append(finding)
    order = [finding for parts in by_rule.values() for findings in parts.values() for finding in findings]
    numbered = iter(_numbered(order))
    groups = []
    for severity, parts in by_rule.items():
        whole = [(rules[slug], tuple(islice(numbered, len(findings)))) for slug, findings in parts.items()]
        count = sum(len(findings) for _, findings in whole)
        groups += [BySeverity(severity, count, _tables(whole))] if count else []
    return tuple(groups)


def _tables(whole: Iterable[tuple[Rule, tuple[Numbered, ...]]]) -> tuple[tuple[ByRule, ...], ...]:
    tables: list[list[ByRule]] = [[]]
    room = TABLE
    for rule, findings in whole:
        at = 0
        while at < len(findings):
            part = findings[at : at + room]
            tables[-1].append(ByRule(rule, part, len(findings), continued=at > 0))
            at, room = at + len(part), room - len(part)
            if not room:
                tables.append([])
                room = TABLE
    return tuple(tuple(table) for table in tables if table)


def _numbered(findings: Iterable[Finding]) -> Iterator[Numbered]:
    anchors: Counter[str] = Counter()
    for number, finding in enumerate(findings, 1):
        key = finding.key
        anchors[key] += 1  # the same clash may be found twice, and anchors must be unique
        yield Numbered(number, key if anchors[key] == 1 else f"{key}-{anchors[key]}", finding)


def _runs(record: VerifiedRecord, plan: Plan) -> tuple[tuple[str, str], ...]:
    """Return the facts of a record's runs, each value once, joined by `; `."""
    runs = record.content.runs
    same = record.content.sha256 == plan.sha256
    told = "the plan of this report" if same else "another state of the plan; each row was compared with this one"
    return (
        ("Revision", "; ".join(dict.fromkeys(run.revision or "none" for run in runs))),
        ("Plan's SHA-256", f"{record.content.sha256} ({told})"),
        ("Proved by", "; ".join(dict.fromkeys(run.by or "not named" for run in runs))),
        ("Started", "; ".join(dict.fromkeys(run.local or "local time not recorded" for run in runs))),
        ("Kind", "simulated" if record.content.simulated else "on the wire"),
        ("Station", "; ".join(dict.fromkeys(run.station or "none" for run in runs))),
        ("Interface", "; ".join(dict.fromkeys(run.interface or "none" for run in runs))),
        ("Permit", "; ".join(dict.fromkeys(run.permit or "none" for run in runs))),
        ("netcheck", "; ".join(dict.fromkeys(run.version or "unknown" for run in runs))),
    )
