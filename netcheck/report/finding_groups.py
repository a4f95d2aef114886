"""Turns findings into rows of text for all human-readable formats.

`Unread` stands for a plan that could not be checked.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

from netcheck.errors import Problem
from netcheck.plan.model import SITE
from netcheck.rules.engine import Checked
from netcheck.rules.finding import AcceptedFinding, Finding, Severity
from netcheck.text import listed, safe

TITLES = {
    Severity.CONFLICT: "Conflicts: do not install as drafted",
    Severity.RISK: "Risks: may work; agree on them with the site",
    Severity.NOTE: "Notes",
}
ACCEPTED = "Accepted by the site"
MOST_SHOWN = 500  # rows of one group; a broken file can have a million findings


class Row(NamedTuple):
    """One finding as text that is safe to print; `fix` is empty if there is no fix."""

    rule: str
    subject: str
    address: str
    message: str
    fix: str
    where: str
    boxes: str = ""  # the decisions to choose from
    number: str = ""  # number of the finding in the report
    island: str = ""


class Group(NamedTuple):
    """The findings of one severity, or the accepted findings; `left` counts by rule the findings without a row."""

    title: str
    severity: Severity | None  # None for accepted findings
    rows: tuple[Row, ...]
    left: tuple[tuple[str, int], ...] = ()

    @property
    def size(self) -> int:
        """Return the number of findings."""
        return len(self.rows) + sum(count for _, count in self.left)

    @property
    def rest(self) -> str:
        """Return one line that counts the findings without a row; empty if every finding has a row."""
        more = listed([f"{count:,} more {rule}" for rule, count in self.left], most=len(self.left))
        return f"... and {more}: --format json or csv has them all" if self.left else ""


def numbers_of(checked: Checked) -> dict[str, int]:
    """Return the number of each finding by its key; the number is the same in every format.

    Open findings come first, in their order, then accepted findings. If several findings have one key, the first gives
    the number.
    """
    findings = (*checked.findings, *(each.finding for each in checked.accepted))
    numbers: dict[str, int] = {}
    for number, finding in enumerate(findings, 1):
        numbers.setdefault(finding.key, number)
    return numbers


def island_of(checked: Checked, finding: Finding) -> str:
    """Return the islands of a finding's subjects."""
    plan = checked.plan
    faces = (plan.interface_named.get(subject) for subject in finding.subjects)
    found = [plan.island_of(face) for face in faces if face is not None]
    found += [plan.subnet_named[subject].island for subject in finding.subjects if subject in plan.subnet_named]
    return ", ".join(dict.fromkeys(found))


def groups_of(checked: Checked, most: int | None = None, *, numbered: bool = False) -> tuple[Group, ...]:
    """Return the findings by severity, conflicts first and accepted ones last, without empty groups.

    In a group of more than *most* findings each rule gets the same number of rows, so that no rule is hidden. With
    *numbered* a row has its number in the report, its islands and the decisions to choose from.
    """
    numbers = numbers_of(checked) if numbered else {}

    def marked(row: Row, finding: Finding) -> Row:
        if not numbered:
            return row
        from netcheck.answers.table import boxes_of  # a check shows no boxes

        boxes = "  ".join(f"[ ] {box}" for box in boxes_of(finding))
        return row._replace(number=str(numbers[finding.key]), island=safe(island_of(checked, finding)), boxes=boxes)

    groups = []
    for severity in Severity:
        shown, left = _shown([each for each in checked.findings if each.severity is severity], most)
        rows = tuple(marked(row_of(finding), finding) for finding in shown)
        groups.append(Group(TITLES[severity], severity, rows, left))
    rows = tuple(marked(_accepted_row(each), each.finding) for each in checked.accepted)
    groups.append(Group(ACCEPTED, None, rows))
    return tuple(group for group in groups if group.rows)


def findings_table(
    checked: Checked, group: Group, columns: tuple[str, ...]
) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Return the columns and rows of a group in a report, with the number of each finding.

    If the plan has several islands, a column names the island. Open findings have the decisions to choose from.
    """
    several = any(subnet.island != SITE for subnet in checked.plan.subnets)
    first = ("number", *columns[:2], *(("island",) if several else ()), *columns[2:])
    shown = first if group.severity is None else (*first, "decision")
    names = {"what": "message", "decision": "boxes"}
    return shown, [tuple(getattr(row, names.get(column, column)) for column in shown) for row in group.rows]


def _shown(findings: Sequence[Finding], most: int | None) -> tuple[Sequence[Finding], tuple[tuple[str, int], ...]]:
    """Return the findings that get a row, and by rule the number of findings without a row."""
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
    """Return one finding as a row."""
    return Row(
        finding.rule,
        safe(listed(list(finding.subjects))),
        safe(finding.address or ""),
        safe(finding.message, 1000),
        safe(fix_words(finding), 1000),
        safe(finding.where),
    )


def fix_words(finding: Finding) -> str:
    """Return the fix in words: one address, or one for each subject that must change."""
    if finding.fix is None:
        return ""
    if len(finding.subjects) == 1:
        return str(finding.fix.addresses[0][1])
    return listed([f"{address} for {subject}" for subject, address in finding.fix.addresses])


def _accepted_row(agreed: AcceptedFinding) -> Row:
    row = row_of(agreed.finding)
    until = f", until {agreed.until}" if agreed.until else ""
    until = (f" on {agreed.decided}" if agreed.decided else "") + until
    words = f"{row.message}; accepted by {safe(agreed.by)}{until}: {safe(agreed.because)}"
    return Row(row.rule, row.subject, row.address, words, "", row.where)


def headline(checked: Checked) -> str:
    """Return the plan's name and revision in one line."""
    revision = f", revision {checked.plan.revision}" if checked.plan.revision else ""
    return safe(f"{checked.plan.name}{revision}")


def summary_line(checked: Checked) -> str:
    """Return the counts in one line."""
    counts = ", ".join(
        f"{checked.count(severity)} {severity.value}{'' if checked.count(severity) == 1 else 's'}"
        for severity in Severity
    )
    interfaces, hosts = len(checked.plan.interfaces), checked.site_hosts
    against = f"{interfaces} interface{'' if interfaces == 1 else 's'}, {hosts} site host{'' if hosts == 1 else 's'}"
    return f"{counts}, {len(checked.accepted)} accepted ({against})"


def next_step(checked: Checked) -> str:
    """Return the next step in one line; empty if there are no findings."""
    if not checked.findings:
        return ""
    why = f"Why a rule matters: netcheck rules {checked.findings[0].rule}."
    fixable = any(finding.fix for finding in checked.findings)
    return f"{why} The fixes fit together: no address is offered twice." if fixable else why


if TYPE_CHECKING:
    from netcheck.rules.engine import Checked

NOT_CHECKED = "not-checked"  # stands in place of a severity


class Unread(NamedTuple):
    """A plan's path as given, and the problems that prevent it from being read."""

    path: str
    problems: tuple[Problem, ...]


Result: TypeAlias = "Checked | Unread"
