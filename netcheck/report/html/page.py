"""Writes the report as one HTML file that needs no network, prints well, and can be read on a phone and without script.

Every value passes `safe`, which escapes control and bidirectional characters, and then jinja2's autoescape. Values
stand only in element content and in quoted attributes. The page's policy allows its own style and script by their
SHA-256, and nothing else. Only one value stands in the style: the header of each printed page. It is a string of CSS in
which every character except letters, digits and spaces is escaped. `values_of` computes the values for the templates.
"""

from __future__ import annotations

import json
import re
from base64 import b64encode
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from hashlib import sha256
from itertools import islice
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from netcheck.addr import mac_text, quad
from netcheck.answers.grants import IDENTITY
from netcheck.answers.table import COLUMNS as FINDING_COLUMNS
from netcheck.answers.table import LONGEST_CELL, PLAN_COLUMN, boxes_of
from netcheck.caution import CAUTION
from netcheck.plan.model import Plan
from netcheck.proof.result import Verdict
from netcheck.record.verify import VERIFIER, VerifiedRecord
from netcheck.report import words
from netcheck.report.address_list import address_parts
from netcheck.report.csv_tables import REQUEST_COLUMNS
from netcheck.report.finding_groups import TITLES, numbers_of
from netcheck.report.html.rtt_chart import chart_of, scale_of
from netcheck.report.html.subnet_maps import maps_of
from netcheck.report.model import Report, short
from netcheck.report.part_rows import DHCP_HOSTS, answered_words, asked_parts, island_part, said_part
from netcheck.report.text import verification as verifications
from netcheck.requests.build import asked_of
from netcheck.requests.model import Asked, Request, RequestKind
from netcheck.rules.engine import Checked
from netcheck.rules.finding import Finding, Severity
from netcheck.rules.rule import Rule
from netcheck.space.map_cells import Use
from netcheck.text import number_of, safe

TEMPLATES = Path(__file__).with_name("templates")
SCRIPTS = ("folds.js", "filter.js", "answers.js")
LONGEST_TEXT = 20_000  # characters of one value
LONGEST_WORD = 40  # characters; a longer name may be broken at the end of a line
LONGEST_HEADER = 90  # characters of plan and revision at the top of a printed page
TABLE = 100  # rows of one table
MANY = 200  # findings or ports; above it a browser lays out only the visible part
TALLIED = 14  # rules in the summary: it must fit on one sheet of paper
# The columns of both files that `answers` reads: the saved file holds the decisions and the grants.
ANSWER_COLUMNS = tuple(dict.fromkeys((*FINDING_COLUMNS, *REQUEST_COLUMNS, PLAN_COLUMN)))
_TO_DO = {
    RequestKind.RESERVATION: ("address to reserve", "addresses to reserve", "reservations"),
    RequestKind.POOL: ("DHCP pool to change", "DHCP pools to change", "pools"),
    RequestKind.DNS: ("DNS record to enter", "DNS records to enter", "dns"),
    RequestKind.CONVERSATION: ("conversation to let through", "conversations to let through", "talks"),
    RequestKind.SWITCH_PORT: ("switch port to set", "switch ports to set", "switch-ports"),
}
_BETWEEN = re.compile(r"([\s,;()]+)")
_BREAKS = frozenset("-/")  # a browser may break a line after these
_NO_FILE_NAME = re.compile(r"[^A-Za-z0-9]+")


@dataclass(frozen=True, slots=True)
class Section:
    """A section of the page. `anchor` is also the name of its template; `brief` stands after the title.

    A `folded` section starts closed. On a phone every section starts closed, except a `leading` section.
    """

    anchor: str
    title: str
    brief: str = ""
    folded: bool = False
    leading: bool = False


@dataclass(frozen=True, slots=True)
class Installable:
    """Whether the plan can be installed, in words; `tone` is a class of the style sheet."""

    words: str
    tone: str


@dataclass(frozen=True, slots=True)
class ItTask:
    """One thing that IT has to do, with the anchor of its rows."""

    words: str
    anchor: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Numbered:
    """A finding with its number in this report and the anchor of its row."""

    number: int
    anchor: str
    finding: Finding


@dataclass(frozen=True, slots=True)
class ByRule:
    """Findings of one rule, in one table.

    `count` is the number of all findings of the rule. `continued` is True if the rule began in the table before.
    """

    rule: Rule
    findings: tuple[Numbered, ...]
    count: int
    continued: bool = False


@dataclass(frozen=True, slots=True)
class BySeverity:
    """The findings of one severity by rule, in tables of at most `TABLE` rows; browsers lay out one table at a time."""

    severity: Severity
    count: int
    tables: tuple[tuple[ByRule, ...], ...]


def to_html(report: Report) -> bytes:
    """Return the report as UTF-8; the same report gives the same bytes."""
    own = {
        "style": (TEMPLATES / "style.css").read_text("utf-8") + page_header(report.plan, simulated=report.simulated),
        "script": "".join((TEMPLATES / name).read_text("utf-8") for name in SCRIPTS),
    }
    hashes = {f"{name}_hash": digest(text) for name, text in own.items()}
    inline = {name: Markup(text) for name, text in own.items()}
    return environment().get_template("report.html").render(values_of(report) | inline | hashes).encode("utf-8")


def page_header(plan: Plan, *, simulated: bool = False) -> str:
    """Return the style of the header and footer of every printed page: plan, revision, hash, and SIMULATED if true."""
    revision = f", revision {plan.revision}" if plan.revision else ""
    name, sha256 = (css_string(text, LONGEST_HEADER) for text in (plan.name + revision, f"Plan SHA-256 {plan.sha256}"))
    boxes = (
        f"@top-left {{ font: 8pt sans-serif; content: {name}; }}",
        f"@bottom-left {{ font: 6.5pt sans-serif; content: {sha256}; }}",
        '@top-right { font: bold 10pt sans-serif; color: #8f1010; content: "SIMULATED: not a proof of the site"; }'
        if simulated
        else "",
    )
    return f"@page {{ {' '.join(boxes)} }}\n"


def css_string(text: str, most: int) -> str:
    """Return a text as a string of CSS in which every character except ASCII letters and digits is escaped.

    The space after an escape belongs to the escape (CSS Syntax Level 3 section 4.3.7).
    """
    plain = (one if one.isascii() and one.isalnum() else f"\\{ord(one):x} " for one in safe(text, most))
    return f'"{"".join(plain)}"'


def digest(text: str) -> str:
    """Return the source expression of the policy that allows exactly this text (W3C CSP Level 3 section 2.3.1)."""
    return f"sha256-{b64encode(sha256(text.encode('utf-8')).digest()).decode('ascii')}"


@cache
def environment() -> Environment:
    """Return the environment of the templates, which escapes every value."""
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_escape_controls,
    )
    environment.globals.update(
        answered_words=answered_words,
        boxes_of=boxes_of,
        chart_of=chart_of,
        facts_of=words.facts_of,
        identity_of=_identity_of,
        long_date=_long_date,
        mac=mac_text,
        meaning=words.meaning,
        moment=words.moment,
        number_of=number_of,
        quad=quad,
        severity_sign=words.severity_sign,
        severity_titles=TITLES,
        short=short,
        slug=_slug,
        unbroken=_unbroken,
        verdict_sign=words.verdict_sign,
        with_code=_with_code,
        what_to_do=verifications.what_to_do,
        record_notes=verifications.notes,
    )
    return environment


def _escape_controls(value: Any) -> Any:
    """Escape control characters in every string that a template prints; `Markup` comes from our own code only."""
    return value if isinstance(value, Markup) or not isinstance(value, str) else safe(value, LONGEST_TEXT)


def _with_code(text: str) -> Markup:
    """Return a rule's text with backtick parts as code."""
    parts = (_unbroken(part) for part in text.split("`"))
    return Markup("").join(Markup("<code>{}</code>").format(part) if n % 2 else part for n, part in enumerate(parts))


def _unbroken(text: str, longest: int = LONGEST_WORD) -> Markup:
    """Return a text in which addresses and names such as `filler-plc/cpu:1` are not broken at the end of a line."""
    parts = _BETWEEN.split(safe(text, LONGEST_TEXT))
    return Markup("").join(
        Markup('<span class="w">{}</span>').format(part)
        if len(part) <= longest and not _BREAKS.isdisjoint(part)
        else escape(part)
        for part in parts
    )


def _identity_of(request: Request) -> str:
    """Return the columns that identify a request in a file of answers, as a JSON object."""
    return json.dumps({title: safe(str(getattr(request, title)), LONGEST_CELL) for title in IDENTITY})


def _long_date(day: date) -> str:
    return f"{day.day} {day:%B %Y}"


def _slug(use: Use) -> str:
    """Return the name of a use in the style sheet."""
    return use.name.lower().replace("_", "-")


def values_of(report: Report) -> dict[str, Any]:
    """Return every value that the templates use; the environment adds functions."""
    asked = asked_of(report.checked)
    tally = tuple(tallied(report))
    return {
        "report": report,
        "plan": report.plan,
        "headline": words.headline(report),
        "alarms": words.alarms(report),
        "not_checked": words.not_checked(report),
        "installable": installable_of(report.checked),
        "needs": tuple(needs_of(report, asked)),
        "sections": tuple(sections_of(report, asked)),
        "tally": tally[:TALLIED],
        "more_rules": len(tally[TALLIED:]),
        "groups": grouped(report),
        "asked": asked,
        "hosts": next(part for part in asked_parts(report) if part.title == DHCP_HOSTS),
        "said": said_part(report),
        "islands": island_part(report),
        "hash_recipe": words.hash_recipe(report.plan),
        "answer_columns": ANSWER_COLUMNS,
        "answer_file": _answer_file(report.plan),
        "many": max(len(report.checked.findings), len(report.ports)) > MANY,
        "table_rows": TABLE,
        "maps": maps_of(report),
        "address_parts": tuple(address_parts(report)),
        "uses": tuple(Use),
        "open_ports": tuple((n, port) for n, port in enumerate(report.ports, 1) if port.verdict is not Verdict.PROVEN),
        "runs_of": {record.path: _runs(record, report.plan) for record in report.records},
        "caution": CAUTION,
        "caution_numbers": words.CAUTION_NUMBERS,
        "cannot_show": words.CANNOT_SHOW,
        "scale": scale_of(port.proof for port in report.ports),
        "snippet": Markup(escape(VERIFIER)),  # our own text; its line breaks are kept
    }


def sections_of(report: Report, asked: Asked) -> Iterator[Section]:
    """Yield the sections in their order; if there is a record, the proofs come first."""
    checked = report.checked
    if report.changes is not None:
        since = report.changes.before.plan
        yield Section(
            "changes", "What changed", f"since revision {since.revision}" if since.revision else "", leading=True
        )
    if report.records:
        proven = dict(report.verdicts).get(Verdict.PROVEN, 0)
        yield Section("proofs", "Proofs", f"{proven} of {number_of(len(report.ports), 'port')} proven", leading=True)
    yield Section("findings", "Findings", _counts(checked), leading=not report.records)
    yield Section("asked", "Requests to IT", str(len(asked.requests)))
    if report.plan.remarks:
        yield Section("said", "Questions and changes of the site", str(len(report.plan.remarks)))
    yield Section("map", "Map of every subnet", number_of(len(report.plan.subnets), "subnet"))
    yield Section("addresses", "IP list", "who has which address", folded=True)
    if checked.accepted:
        yield Section("accepted", "Accepted findings", str(len(checked.accepted)))
    yield Section("basis", "What was checked, and what was not")
    yield Section("rules", "Rules", str(len(report.rules)), folded=True)


def _counts(checked: Checked) -> str:
    counts = ((checked.count(severity), str(severity)) for severity in Severity)
    return ", ".join(f"{count:,} {word}{'' if count == 1 else 's'}" for count, word in counts if count)


def installable_of(checked: Checked) -> Installable:
    """Return whether the plan can be installed."""
    if checked.count(Severity.CONFLICT):
        return Installable("Do not install as drafted", "bad")
    risks = checked.count(Severity.RISK)
    if risks:
        return Installable(
            f"Can be installed once the site agrees to {risks:,} risk{'' if risks == 1 else 's'}", "doubt"
        )
    if checked.accepted:
        return Installable("Can be installed with the findings that the site has accepted", "good")
    return Installable("Can be installed: nothing against it was found", "good")


def needs_of(report: Report, asked: Asked) -> Iterator[ItTask]:
    """Yield each task of IT with its count: findings to decide, requests to answer."""
    findings = len(report.checked.findings)
    if findings:
        yield ItTask(f"{findings:,} decision{'' if findings == 1 else 's'}", "findings", _counts(report.checked))
    for kind, count in Counter(request.kind for request in asked.needed).items():
        one, several, anchor = _TO_DO[kind]
        yield ItTask(f"{count:,} {one if count == 1 else several}", f"asked-{anchor}")


def tallied(report: Report) -> Iterator[tuple[Rule, Severity, int]]:
    """Yield each rule with its severity and number of findings: by severity, then the most frequent first."""
    rules = {rule.slug: rule for rule in report.rules}
    counts = Counter((finding.severity, finding.rule) for finding in report.checked.findings)
    order = list(Severity)
    for (severity, slug), count in sorted(counts.items(), key=lambda each: (order.index(each[0][0]), -each[1])):
        yield rules[slug], severity, count


def _answer_file(plan: Plan) -> str:
    """Return the name of the file of answers: letters, digits and hyphens of plan and revision."""
    words = _NO_FILE_NAME.sub("-", f"{plan.slug} {plan.revision}").strip("-")[:60]
    return f"{words or 'plan'}-answers.csv"


def grouped(report: Report) -> tuple[BySeverity, ...]:
    """Return the findings by severity, conflicts first, then by rule in order of appearance."""
    rules = {rule.slug: rule for rule in report.rules}
    by_rule: dict[Severity, dict[str, list[Finding]]] = {severity: {} for severity in Severity}
    for finding in report.checked.findings:
        by_rule[finding.severity].setdefault(finding.rule, []).append(finding)
    order = [finding for parts in by_rule.values() for findings in parts.values() for finding in findings]
    numbered = iter(_numbered(order, numbers_of(report.checked)))
    groups = []
    for severity, parts in by_rule.items():
        whole = [(rules[slug], tuple(islice(numbered, len(findings)))) for slug, findings in parts.items()]
        count = sum(len(findings) for _, findings in whole)
        groups += [BySeverity(severity, count, _tables(whole))] if count else []
    return tuple(groups)


def _tables(whole: Iterable[tuple[Rule, tuple[Numbered, ...]]]) -> tuple[tuple[ByRule, ...], ...]:
    """Split findings by rule into tables of at most `TABLE` rows; a rule can continue in the next table."""
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


def _numbered(findings: Iterable[Finding], numbers: Mapping[str, int]) -> Iterator[Numbered]:
    anchors: Counter[str] = Counter()
    for finding in findings:
        key = finding.key
        number = numbers[key]
        anchors[key] += 1  # two findings may have one key, but anchors must be unique
        yield Numbered(number, key if anchors[key] == 1 else f"{key}-{anchors[key]}", finding)


def _runs(record: VerifiedRecord, plan: Plan) -> tuple[tuple[str, str], ...]:
    """Return the facts of a record's runs, as titles and texts; a value that several runs share occurs once."""
    runs = record.content.runs
    same = record.content.sha256 == plan.sha256
    told = "the plan of this report" if same else "another state of the plan; each row was compared with this plan"
    return (
        ("Revision", "; ".join(dict.fromkeys(run.revision or "none" for run in runs))),
        ("Plan's SHA-256", f"{record.content.sha256} ({told})"),
        ("Proved by", "; ".join(dict.fromkeys(run.by or "not named" for run in runs))),
        ("Started", "; ".join(dict.fromkeys(run.local or "local time not recorded" for run in runs))),
        ("Kind", "simulated" if record.content.simulated else "on the wire"),
        ("Technician's computer", "; ".join(dict.fromkeys(run.station or "none" for run in runs))),
        ("Interface", "; ".join(dict.fromkeys(run.interface or "none" for run in runs))),
        ("Permit", "; ".join(dict.fromkeys(run.permit or "none" for run in runs))),
        ("netcheck", "; ".join(dict.fromkeys(run.version or "unknown" for run in runs))),
    )
