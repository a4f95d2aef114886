"""Writes the catalogue of rules as a list, one rule as a page, and both as JSON."""

from __future__ import annotations

import textwrap
from typing import Any

from netcheck.rules.rule import Example, Rule

GAP = 2


def to_list(rules: tuple[Rule, ...], width: int) -> str:
    """Return one paragraph for each rule: slug, severity and one sentence, wrapped to *width*."""
    slugs = max(len(rule.slug) for rule in rules) + GAP
    severities = max(len(rule.severity) for rule in rules) + GAP
    margin = slugs + severities
    lines = []
    for rule in rules:
        first, *more = textwrap.wrap(rule.what, max(width - margin, 30), break_on_hyphens=False)
        lines.append(f"{rule.slug:{slugs}}{rule.severity:{severities}}{first}")
        lines += [" " * margin + line for line in more]
    return "\n".join(lines) + "\n"


def to_page(rule: Rule, width: int) -> str:
    """Return the page of one rule: statement, reason, source and two examples."""
    parts = [
        f"{rule.slug} ({rule.severity})",
        _paragraph("what", rule.what, width),
        _paragraph("why", rule.why, width),
        *([_paragraph("do", rule.do, width)] if rule.do else []),
        _paragraph("source", rule.source, width),
        _example("This breaks it", rule.bad),
        _example("This does not", rule.good),
    ]
    return "\n\n".join(parts) + "\n"


def _paragraph(head: str, text: str, width: int) -> str:
    indent = " " * 8
    return textwrap.fill(
        text, max(width, 40), initial_indent=f"{head:8}", subsequent_indent=indent, break_on_hyphens=False
    )


def to_json(rule: Rule) -> dict[str, Any]:
    """Return one rule; each example is an object of files by name."""
    words = {"rule": rule.slug, "severity": rule.severity.value, "what": rule.what, "why": rule.why}
    return {**words, "source": rule.source, "bad": _files(rule.bad), "good": _files(rule.good)}


def _files(example: Example) -> dict[str, str]:
    files = {"plan.toml": example.plan, "site-hosts.csv": example.hosts}
    return {name: text for name, text in files.items() if text}


def _example(head: str, example: Example) -> str:
    files = _files(example).items()
    shown = [f"{name}:\n{textwrap.indent(text.rstrip(), '    ')}" for name, text in files]
    return f"{head}, " + "\n  and ".join(shown)
