"""Findings as rows of text, the same words for every form that is read by people."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from netcheck.rules.engine import Checked
from netcheck.rules.finding import AcceptedFinding, Finding, Severity
from netcheck.text import listed, safe

TITLES = {
    Severity.CONFLICT: "Conflicts: must not be installed so",
    Severity.RISK: "Risks: may work, agree them with the site",
    Severity.NOTE: "Notes",
}
ACCEPTED = "Accepted by the site"
MOST_SHOWN = 500  # rows of one group; of a broken file with a million rows nobody reads a million lines


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
    """The findings of one severity, or the accepted ones; `left` are those that have no row, counted by rule."""

    title: str
    severity: Severity | None  # None for the accepted ones
    rows: tuple[Row, ...]
    left: tuple[tuple[str, int], ...] = ()

    @property
    def size(self) -> int:
        """How many findings there are."""
        return len(self.rows) + sum(count for _, count in self.left)

    @property
    def rest(self) -> str:
        """What has no row, in a line; empty where everything has."""
        more = listed([f"{count:,} more {rule}" for rule, count in self.left], most=len(self.left))
        return f"... and {more}: --format json or csv has them all" if self.left else ""


def groups_of(checked: Checked, most: int | None = None) -> tuple[Group, ...]:
    """Findings by severity, the gravest first, and the accepted ones last; groups without any are left out. Of a group
    above `most` each rule has its share of rows, so that none is hidden behind a million others."""
    groups = []
    for severity in Severity:
        shown, left = _shown([each for each in checked.findings if each.severity is severity], most)
        groups.append(Group(TITLES[severity], severity, tuple(map(row_of, shown)), left))
    groups.append(Group(ACCEPTED, None, tuple(map(_accepted_row, checked.accepted))))
    return tuple(group for group in groups if group.rows)


def _shown(findings: Sequence[Finding], most: int | None) -> tuple[Sequence[Finding], tuple[tuple[str, int], ...]]:
    """The findings that get a row, and how many of each rule get none."""
    if most is None or len(findings) <= most:
        return findings, ()
    counts = Counter(finding.rule for finding in findings)
    share = max(1, most // len(counts))
    seen: Counter[str] = Counter()
    shown = []
    for finding in findings:
        seen[finding.rule] += 1
        if seen[finding.rule] <= share:
            shown.append(finding)
    return shown, tuple((rule, count - share) for rule, count in counts.items() if count > share)


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


def _accepted_row(agreed: AcceptedFinding) -> Row:
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
