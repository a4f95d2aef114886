"""Writes the report as one HTML file without network access, printable, and readable on a phone and without script.

Every value passes `safe`, which escapes control and bidirectional characters, and then jinja2's autoescape. Values
stand only in element content and in quoted attributes. The page's policy allows its own style and script by their
SHA-256, and nothing else.
"""

from __future__ import annotations

from base64 import b64encode
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from netcheck.addr import mac_text, quad
from netcheck.answers.table import boxes_of
from netcheck.report import words
from netcheck.report.finding_groups import TITLES
from netcheck.report.html.page_values import values_of
from netcheck.report.html.rtt_chart import chart_of
from netcheck.report.model import Report, short
from netcheck.report.part_rows import answered_words
from netcheck.report.text import verification as verifications
from netcheck.space.map_cells import Use
from netcheck.text import safe

TEMPLATES = Path(__file__).with_name("templates")
LONGEST_TEXT = 20_000  # characters of one value


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
