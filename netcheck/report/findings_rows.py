"""Findings as rows of text, the same words for every form that is read by people."""

from __future__ import annotations

from dataclasses import dataclass

from netcheck.rules.engine import Checked
from netcheck.rules.finding import Agreed, Finding, Severity
from netcheck.text import listed, safe

TITLES = {
    Severity.CONFLICT: "Conflicts: must not be installed so",
    Severity.RISK: "Risks: may work, agree them with the site",
    Severity.NOTE: "Notes",
}
ACCEPTED = "Accepted by the site"


@dataclass(frozen=True, slots=True)
class Row:
    """One finding in words that are safe to show, `fix` empty where there is none."""

    rule: str
    subject: str
    address: str
    message: str
    fix: str
    where: str


@dataclass(frozen=True, slots=True)
class Group:
    """The findings of one severity, or the accepted ones."""

    title: str
    severity: Severity | None  # None for the accepted ones
    rows: tuple[Row, ...]


def groups_of(checked: Checked) -> tuple[Group, ...]:
    """Findings by severity, the gravest first, and the accepted ones last; groups without any are left out."""
    groups = [
        Group(TITLES[severity], severity, tuple(row_of(each) for each in checked.findings if each.severity is severity))
        for severity in Severity
    ]
    groups.append(Group(ACCEPTED, None, tuple(map(_accepted_row, checked.accepted))))
    return tuple(group for group in groups if group.rows)


def row_of(finding: Finding) -> Row:
    """One finding as a row."""
    return Row(
        finding.rule,
        safe(listed(list(finding.subjects))),
        safe(finding.address or ""),
        safe(finding.message, 1000),
        safe(fix_words(finding), 1000),
        safe(finding.where),
    )


def fix_words(finding: Finding) -> str:
    """The fix in words: an address, or an address for each subject that has to move."""
    if finding.fix is None:
        return ""
    if len(finding.subjects) == 1:
        return str(finding.fix.addresses[0][1])
    return listed([f"{address} for {subject}" for subject, address in finding.fix.addresses])


def _accepted_row(agreed: Agreed) -> Row:
    row = row_of(agreed.finding)
    until = f", until {agreed.until}" if agreed.until else ""
    words = f"{row.message}; accepted by {safe(agreed.by)}{until}: {safe(agreed.because)}"
    return Row(row.rule, row.subject, row.address, words, "", row.where)


def headline(checked: Checked) -> str:
    """The plan, and whether anything stands against it, in one line."""
    revision = f", revision {checked.plan.revision}" if checked.plan.revision else ""
    return safe(f"{checked.plan.name}{revision}")


def summary_line(checked: Checked) -> str:
    """The counts in one line."""
    counts = ", ".join(
        f"{checked.count(severity)} {severity.value}{'' if checked.count(severity) == 1 else 's'}"
        for severity in Severity
    )
    interfaces, hosts = len(checked.plan.interfaces), checked.site_hosts
    against = f"{interfaces} interface{'' if interfaces == 1 else 's'}, {hosts} site host{'' if hosts == 1 else 's'}"
    return f"{counts}, {len(checked.accepted)} accepted ({against})"


def next_step(checked: Checked) -> str:
    """What to do now, in one line; empty where nothing is to be done."""
    if not checked.findings:
        return ""
    why = f"Why a rule matters: netcheck rules {checked.findings[0].rule}."
    fixable = any(finding.fix for finding in checked.findings)
    return f"{why} The fixes fit together: no address is offered twice." if fixable else why
