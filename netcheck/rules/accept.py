"""Separates the findings that the site has accepted from the open ones, and finds the site's remarks on findings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from typing import NamedTuple

from netcheck.addr import Address, Mac
from netcheck.plan.model import Accepted, SiteRemark
from netcheck.rules.finding import AcceptedFinding, Finding


class SplitFindings(NamedTuple):
    """Open findings, accepted findings, and the `accepted` entries that matched no finding or match too many.

    `wide` are entries that lack the address or the other party of their finding. Each comes with the keys to add, such
    as `address = "192.0.2.1"`.
    """

    open: tuple[Finding, ...]
    accepted: tuple[AcceptedFinding, ...]
    unused: tuple[Accepted, ...]
    wide: tuple[tuple[Accepted, tuple[str, ...]], ...] = ()


def split_accepted(findings: Iterable[Finding], entries: tuple[Accepted, ...], today: date) -> SplitFindings:
    """Match findings with the plan's `accepted` entries.

    A finding whose only entry has expired stays open, and its message says so.
    """
    by_rule_and_subject: dict[tuple[str, str], list[int]] = {}
    for index, entry in enumerate(entries):
        by_rule_and_subject.setdefault((entry.rule, entry.subject), []).append(index)
    used: set[int] = set()
    wide: dict[int, dict[str, None]] = {}
    still_open: list[Finding] = []
    accepted: list[AcceptedFinding] = []
    for finding in findings:
        keys = ((finding.rule, subject) for subject in finding.subjects)
        candidates = (index for key in keys for index in by_rule_and_subject.get(key, ()))
        subjects = frozenset(finding.subjects)
        matching = [index for index in candidates if matches(entries[index], finding, subjects)]
        used.update(matching)
        keys_to_add: dict[tuple[bool, bool], str] = {}  # a finding may have thousands of subjects and of entries
        for index in matching:
            has = bool(entries[index].address), bool(entries[index].other)
            if has not in keys_to_add:
                keys_to_add[has] = " and ".join(missing_keys(entries[index], finding))
            if keys_to_add[has]:
                wide.setdefault(index, {})[keys_to_add[has]] = None
        valid = [entries[index] for index in matching if not _expired(entries[index], today)]
        if valid:
            accepted.append(AcceptedFinding(finding, valid[0].by, valid[0].because, valid[0].until, valid[0].decided))
        else:
            still_open.append(_reopened(finding, entries[matching[0]]) if matching else finding)
    unused = tuple(entry for index, entry in enumerate(entries) if index not in used)
    too_wide = tuple((entries[index], tuple(keys)) for index, keys in sorted(wide.items()))
    return SplitFindings(tuple(still_open), tuple(accepted), unused, too_wide)


def missing_keys(entry: Accepted, finding: Finding) -> list[str]:
    """Return the keys that would restrict an entry to this finding: its address and its other party."""
    keys = [f'address = "{finding.address}"'] if finding.address and not entry.address else []
    return keys + ([f'with = "{finding.other}"'] if finding.other and not entry.other else [])


def remarks_on(findings: Iterable[Finding], remarks: Sequence[SiteRemark]) -> dict[str, tuple[SiteRemark, ...]]:
    """Return the site's remarks on each finding by the finding's key, in the plan's order."""
    named: dict[tuple[str, str], list[int]] = {}
    for index, remark in enumerate(remarks):
        named.setdefault((remark.rule, remark.subject), []).append(index)
    found: dict[str, tuple[SiteRemark, ...]] = {}
    for finding in findings if named else ():
        several = {index for subject in finding.subjects for index in named.get((finding.rule, subject), ())}
        if own := tuple(remarks[index] for index in sorted(several) if matches(remarks[index], finding)):
            found[finding.key] = own
    return found


def matches(entry: Accepted | SiteRemark, finding: Finding, subjects: frozenset[str] | None = None) -> bool:
    """Return whether an entry applies to a finding.

    The entry must have the rule and one of the subjects of the finding. If the entry names an address or another party,
    they must be those of the finding. `subjects` are its subjects, made once for many entries.
    """
    among = frozenset(finding.subjects) if subjects is None else subjects
    if entry.rule != finding.rule or entry.subject not in among:
        return False
    if entry.address and _comparable(entry.address) != _comparable(finding.address or ""):
        return False
    return not entry.other or _same_party(entry, finding, among)


def _same_party(entry: Accepted | SiteRemark, finding: Finding, subjects: frozenset[str]) -> bool:
    if len(finding.subjects) > 1:
        if entry.subject == finding.subjects[0] and entry.other.strip() == finding.other:
            return True  # compare the whole text first, because a name may contain a comma
        named = {name.strip() for name in entry.other.split(",")} | {entry.subject}
        return named == subjects
    return _comparable(entry.other) in map(_comparable, finding.others)


def _comparable(text: str) -> str:
    """Return the form in which texts are compared: addresses and MACs in standard notation, names in lower case."""
    for read in (Address.from_text, Mac.from_text):
        try:
            return str(read(text))
        except ValueError:
            continue
    return text.strip().casefold()


def _expired(entry: Accepted, today: date) -> bool:
    return entry.until is not None and entry.until < today


def _reopened(finding: Finding, entry: Accepted) -> Finding:
    why = f"it was accepted by {entry.by} until {entry.until}, which is past"
    return finding._replace(message=f"{finding.message}; {why}")
