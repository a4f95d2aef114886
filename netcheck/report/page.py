"""The report as one HTML file that opens anywhere: no network, no script, printable, readable on a phone.

Every value that is put out goes through `safe` (controls and bidirectional marks become visible) and then through
jinja2's autoescape; values stand only in element content and in quoted attributes.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from netcheck.addr import mac_text, quad
from netcheck.caution import CAUTION
from netcheck.plan.model import Plan
from netcheck.record.verification import Record
from netcheck.report import verifications, words
from netcheck.report.findings_rows import TITLES
from netcheck.report.model import Report, short
from netcheck.report.not_checked import not_checked
from netcheck.rules.finding import Finding, Severity
from netcheck.text import safe

TEMPLATES = Path(__file__).with_name("templates")
LONGEST_TEXT = 20_000  # characters of one value


def to_html(report: Report) -> bytes:
    """Write the report as UTF-8; the same report gives the same bytes."""
    template = _environment().get_template("report.html")
    return template.render(_values(report)).encode("utf-8")


def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_harmless,
    )
    environment.globals.update(
        facts_of=words.facts_of,
        mac=mac_text,
        meaning=words.meaning,
        moment=words.moment,
        quad=quad,
        severity_sign=words.severity_sign,
        severity_titles=TITLES,
        short=short,
        verdict_sign=words.verdict_sign,
        with_code=_with_code,
        what_to_do=verifications.what_to_do,
        record_notes=verifications.notes,
    )
    return environment


def _harmless(value: Any) -> Any:
    """Make controls visible in every string that a template puts out; markup comes from our own templates only."""
    return value if isinstance(value, Markup) or not isinstance(value, str) else safe(value, LONGEST_TEXT)


def _with_code(text: str) -> Markup:
    """A rule's text with what stands between backticks as code."""
    parts = (escape(safe(part, LONGEST_TEXT)) for part in text.split("`"))
    return Markup("").join(Markup("<code>{}</code>").format(part) if n % 2 else part for n, part in enumerate(parts))


def _values(report: Report) -> dict[str, Any]:
    return {
        "report": report,
        "plan": report.plan,
        "headline": words.headline(report),
        "alarms": words.alarms(report),
        "not_checked": not_checked(report),
        "groups": _groups(report),
        "rule_named": {rule.slug: rule for rule in report.rules},
        "runs_of": {record.path: _runs(record, report.plan) for record in report.records},
        "caution": CAUTION,
        "caution_numbers": words.CAUTION_NUMBERS,
        "cannot_show": words.CANNOT_SHOW,
    }


def _groups(report: Report) -> tuple[tuple[Severity, tuple[Finding, ...]], ...]:
    """Findings by severity, the gravest first, empty groups left out."""
    by_severity = ((each, tuple(f for f in report.checked.findings if f.severity is each)) for each in Severity)
    return tuple((severity, findings) for severity, findings in by_severity if findings)


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
