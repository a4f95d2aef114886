"""Writes the report as one HTML file without network access, printable, and readable on a phone and without script.

Every value passes `safe`, which escapes control and bidirectional characters, and then jinja2's autoescape. Values
stand only in element content and in quoted attributes. The page's policy allows its own style and script by their
SHA-256, and nothing else. `values_of` computes what the templates lay out.
"""

from __future__ import annotations

from base64 import b64encode
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from itertools import islice
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from netcheck.addr import mac_text, quad
from netcheck.answers.table import boxes_of
from netcheck.caution import CAUTION
from netcheck.plan.model import Plan
from netcheck.proof.result import Verdict
from netcheck.record.verify import VerifiedRecord
from netcheck.report import words
from netcheck.report.finding_groups import TITLES
from netcheck.report.html.rtt_chart import chart_of
from netcheck.report.html.subnet_maps import maps_of
from netcheck.report.html.verifier import SNIPPET
from netcheck.report.model import Report, short
from netcheck.report.part_rows import answered_words
from netcheck.report.text import verification as verifications
from netcheck.requests.build import asked_of
from netcheck.rules.finding import Finding, Severity
from netcheck.rules.rule import Rule
from netcheck.space.map_cells import Use
from netcheck.text import safe

TEMPLATES = Path(__file__).with_name("templates")
LONGEST_TEXT = 20_000  # characters of one value
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


def to_html(report: Report) -> bytes:
    """Return the report as UTF-8; the same report gives the same bytes."""
    own = {
        name: (TEMPLATES / file).read_text("utf-8") for name, file in (("style", "style.css"), ("script", "filter.js"))
    }
    hashes = {f"{name}_hash": digest(text) for name, text in own.items()}
    inline = {name: Markup(text) for name, text in own.items()}
    return environment().get_template("report.html").render(values_of(report) | inline | hashes).encode("utf-8")


def digest(text: str) -> str:
    """Return the policy source that allows exactly this text (W3C CSP Level 3 section 2.3.1)."""
    return f"sha256-{b64encode(sha256(text.encode('utf-8')).digest()).decode('ascii')}"


@cache
def environment() -> Environment:
    """Return the templates with every output value escaped."""
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_harmless,
    )
    environment.globals.update(
        answered_words=answered_words,
        boxes_of=boxes_of,
        chart_of=chart_of,
        facts_of=words.facts_of,
        mac=mac_text,
        meaning=words.meaning,
        moment=words.moment,
        quad=quad,
        severity_sign=words.severity_sign,
        severity_titles=TITLES,
        short=short,
        slug=_slug,
        verdict_sign=words.verdict_sign,
        with_code=_with_code,
        what_to_do=verifications.what_to_do,
        record_notes=verifications.notes,
    )
    return environment


def _harmless(value: Any) -> Any:
    """Escape control characters in every string that a template prints; markup comes from our templates only."""
    return value if isinstance(value, Markup) or not isinstance(value, str) else safe(value, LONGEST_TEXT)


def _with_code(text: str) -> Markup:
    """Return a rule's text with backtick parts as code."""
    parts = (escape(safe(part, LONGEST_TEXT)) for part in text.split("`"))
    return Markup("").join(Markup("<code>{}</code>").format(part) if n % 2 else part for n, part in enumerate(parts))


def _slug(use: Use) -> str:
    """Return the name of a use in the style sheet."""
    return use.name.lower().replace("_", "-")


def values_of(report: Report) -> dict[str, Any]:
    """Return every name that the templates use, in addition to the functions of the environment."""
    return {
        "report": report,
        "plan": report.plan,
        "headline": words.headline(report),
        "alarms": words.alarms(report),
        "not_checked": words.not_checked(report),
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
