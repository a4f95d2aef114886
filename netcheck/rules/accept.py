"""Sets apart the findings that the site has accepted."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from netcheck.addr import Address, Mac
from netcheck.plan.model import Accepted
from netcheck.rules.finding import Agreed, Finding


@dataclass(frozen=True, slots=True)
class Sorted:
    """Findings that stand, findings that are accepted, and the accepted entries that matched nothing."""

    open: tuple[Finding, ...]
    agreed: tuple[Agreed, ...]
    unused: tuple[Accepted, ...]


def sort_out(findings: Iterable[Finding], accepted: tuple[Accepted, ...], today: date) -> Sorted:
    """Match findings with the accepted entries; an entry past its day lets the finding stand, which then says so."""
    entries: dict[tuple[str, str], list[int]] = {}
    for index, entry in enumerate(accepted):
        entries.setdefault((entry.rule, entry.subject), []).append(index)
    used: set[int] = set()
    standing: list[Finding] = []
    agreed: list[Agreed] = []
    for finding in findings:
        candidates = (index for subject in finding.subjects for index in entries.get((finding.rule, subject), ()))
        matching = [index for index in candidates if matches(accepted[index], finding)]
        used.update(matching)
        running = [accepted[index] for index in matching if not _past(accepted[index], today)]
        if running:
            agreed.append(Agreed(finding, running[0].by, running[0].because, running[0].until))
        else:
            standing.append(_returned(finding, accepted[matching[0]]) if matching else finding)
    unused = tuple(entry for index, entry in enumerate(accepted) if index not in used)
    return Sorted(tuple(standing), tuple(agreed), unused)


def matches(entry: Accepted, finding: Finding) -> bool:
    """Say whether an entry means this finding: its rule, one of its subjects, and the address and party it names."""
    if entry.rule != finding.rule or entry.subject not in finding.subjects:
        return False
    if entry.address and _plain(entry.address) != _plain(finding.address or ""):
        return False
    return not entry.other or _same_party(entry, finding)


def _same_party(entry: Accepted, finding: Finding) -> bool:
    if len(finding.subjects) > 1:
        if entry.subject == finding.subjects[0] and entry.other.strip() == finding.other:
            return True  # said first, since names may hold commas
        named = {name.strip() for name in entry.other.split(",")} | {entry.subject}
        return named == set(finding.subjects)
    return _plain(entry.other) in map(_plain, finding.others)


def _plain(text: str) -> str:
    """A text as it is compared: addresses and MACs by value, names without case."""
    for read in (Address.from_text, Mac.from_text):
        try:
            return str(read(text))
        except ValueError:
            continue
    return text.strip().casefold()


def _past(entry: Accepted, today: date) -> bool:
    return entry.until is not None and entry.until < today


def _returned(finding: Finding, entry: Accepted) -> Finding:
    return replace(
        finding, message=f"{finding.message}; it was accepted by {entry.by} until {entry.until}, which is past"
    )
