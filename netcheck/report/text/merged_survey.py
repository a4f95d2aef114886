"""Writes merged lists of site hosts as a survey file, as text and as JSON."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Any

from tabulate import tabulate

from netcheck.errors import Problem
from netcheck.report.text.hosts import entry_of, table_to_csv
from netcheck.space.coverage import SubnetCoverage
from netcheck.survey.host_table import HostTable
from netcheck.survey.merge import Disagreement, MergedHost, merged
from netcheck.survey.model import Alias, NameRecord, Remarks, ServedRange, Survey
from netcheck.survey.readers.header import MERGED
from netcheck.survey.readers.special_tables import ALIAS, RANGE, UNREAD_CELL, UNREAD_ROW
from netcheck.tables.delimited import guarded
from netcheck.text import listed, safe

SHOWN = 40  # entries of one kind that the text shows; JSON has all
_LONGEST = 1000  # characters of a cell


@dataclass(frozen=True, slots=True)
class Merging:
    """The surveys that were read, their hosts by island, and the disagreements between them.

    `disagreements` are the first ones, `disagreeing` is the number of all. `evidence` is the coverage of the plan's
    subnets, None without a plan.
    """

    surveys: tuple[Survey, ...]
    tables: tuple[HostTable, ...]
    disagreements: tuple[Disagreement, ...]
    disagreeing: int
    evidence: tuple[SubnetCoverage, ...] | None = None
    failed: tuple[Problem, ...] = ()  # files that cannot be read at all

    @property
    def addresses(self) -> int:
        """Return the number of distinct addresses, counted by island."""
        return sum(table.distinct for table in self.tables)

    @property
    def needs_correction(self) -> bool:
        """Return whether something could not be read or lists disagree."""
        return self.disagreeing > 0 or any(one.skipped.count or one.unread.count for one in self.surveys)


def to_csv(merging: Merging) -> str:
    """Return the merged lists of one island as CSV for `[[survey]]` and `netcheck survey read`.

    A row is a host with all its sources, a DNS record, or a row or cell of a list that could not be read.
    """
    records = [(survey, record) for survey in merging.surveys for record in survey.records]
    positions = {str(record.position) for _, record in records}
    table = merging.tables[0]
    if positions:  # a DNS record gets a row of its own, not a row as a host
        table = HostTable.of(host for host in table if host.where not in positions)
    kinds = {file: survey.kind_of(file) for survey in merging.surveys for file in survey.hosts.files}
    rows = chain(
        (_host_cells(host, kinds) for host in merged(table)),
        (_record_cells(record) for _, record in records),
        (_alias_cells(alias) for survey in merging.surveys for alias in survey.aliases),
        (_range_cells(served) for survey in merging.surveys for served in survey.served),
        chain.from_iterable(_unread_cells(survey) for survey in merging.surveys),
        map(_failed_cells, merging.failed),
    )
    return table_to_csv(MERGED, rows)


def _host_cells(host: MergedHost, kinds: Mapping[str, str]) -> tuple[str, ...]:
    kind = kinds.get(host.sources[0].rpartition(": ")[0], "")
    seen = host.seen.isoformat() if host.seen else ""
    mac = str(host.mac) if host.mac else ""
    return str(host.address), mac, *_texts(host.name, host.note), seen, *_texts("; ".join(host.sources)), kind


def _record_cells(record: NameRecord) -> tuple[str, ...]:
    name = f"{record.name}." if record.absolute else record.name
    return str(record.address), "", *_texts(name), "", "", *_texts(str(record.position)), str(record.kind)


def _alias_cells(alias: Alias) -> tuple[str, ...]:
    name = f"{alias.name}." if alias.absolute else alias.name
    return "", "", *_texts(name, alias.target), "", *_texts(str(alias.position)), ALIAS


def _range_cells(served: ServedRange) -> tuple[str, ...]:
    return "", "", "", str(served.span), "", *_texts(str(served.position)), RANGE


def _unread_cells(survey: Survey) -> Iterator[tuple[str, ...]]:
    for kind, remarks in ((UNREAD_ROW, survey.skipped), (UNREAD_CELL, survey.unread)):
        for remark in remarks.first:
            yield "", "", "", *_texts(remark.why), "", *_texts(str(remark.position)), kind
        if (rest := remarks.count - len(remarks.first)) > 0:
            yield "", "", str(rest), "further ones", "", *_texts(str(remarks.first[-1].position)), kind


def _failed_cells(problem: Problem) -> tuple[str, ...]:
    why = f"{problem.what}; no host of this list is known"
    return "", "", "", *_texts(why), "", *_texts(f"{problem.where}: row 0"), UNREAD_ROW


def _texts(*texts: str) -> tuple[str, ...]:
    return tuple(guarded(safe(text, _LONGEST)) for text in texts)


def to_entry(merging: Merging, file: str) -> str:
    """Return the `[[survey]]` entry for the plan: the oldest date of all lists and the prefixes that they cover."""
    days = [survey.taken for survey in merging.surveys]
    known = [day for day in days if day is not None]
    taken = min(known) if known and len(known) == len(days) else None
    return entry_of(file, taken, (prefix for survey in merging.surveys for prefix in survey.covers))


def to_json(merging: Merging, file: str | None) -> dict[str, Any]:
    """Return the object that `--format json` prints."""
    result: dict[str, Any] = {
        "files": [_file(survey) for survey in merging.surveys],
        "addresses": merging.addresses,
        "hosts": [_host(host) for table in merging.tables for host in merged(table)],
        "disagreements": [_disagreement(one) for one in merging.disagreements],
        "disagreeing": merging.disagreeing,
        "survey": {"file": None if file is None else safe(file, _LONGEST), "kind": "csv"},
    }
    if merging.evidence is not None:
        result["subnets"] = [_subnet(one) for one in merging.evidence]
    return result


def _file(survey: Survey) -> dict[str, Any]:
    """Return a survey as a JSON object: its contents, and the rows and cells that were not read."""
    return {
        "file": safe(survey.file, _LONGEST),
        "kind": survey.kind,
        "island": safe(survey.island),
        "taken": survey.taken.isoformat() if survey.taken else None,
        "covers": list(map(str, survey.covers)),
        "hosts": len(survey.hosts),
        "addresses": survey.hosts.distinct,
        "not_read": _remarks(survey.skipped),
        "cells_not_read": _remarks(survey.unread),
        "passed_over": _remarks(survey.addressless),
    }


def _remarks(remarks: Remarks) -> dict[str, Any]:
    first = [{"where": safe(str(one.position)), "why": safe(one.why, _LONGEST)} for one in remarks.first]
    return {"count": remarks.count, "first": first}


def _host(host: MergedHost) -> dict[str, Any]:
    return {
        "address": str(host.address),
        "mac": str(host.mac) if host.mac else None,
        "name": safe(host.name, _LONGEST),
        "note": safe(host.note, _LONGEST),
        "seen": host.seen.isoformat() if host.seen else None,
        "sources": [safe(one) for one in host.sources],
    }


def _disagreement(one: Disagreement) -> dict[str, Any]:
    said = [{"value": safe(value), "where": safe(where)} for value, where in one.values]
    return {"address": str(one.address), "what": one.what, "said": said, "more": one.more}


def _subnet(one: SubnetCoverage) -> dict[str, Any]:
    return {
        "subnet": safe(one.subnet),
        "prefix": str(one.prefix) if one.prefix else None,
        "hosts": one.hosts,
        "covered": one.covered,
        "uncovered": list(map(str, one.uncovered)),
        "files": [safe(file, _LONGEST) for file in one.files],
    }


def to_text(merging: Merging) -> str:
    """Return the contents of each file, the unread parts, the disagreements, the plan's subnets, and the counts."""
    parts = [_contents(merging.surveys), *_problems(merging), *_evidence(merging.evidence), [_sum(merging)]]
    return "\n\n".join("\n".join(part) for part in parts if part)


def _contents(surveys: Sequence[Survey]) -> list[str]:
    rows = [
        (safe(one.file, 60), one.kind, len(one.hosts), one.skipped.count + one.unread.count, one.addressless.count)
        for one in surveys
    ]
    return [tabulate(rows, ("file", "kind", "hosts", "not read", "skipped"), "simple")]


def _problems(merging: Merging) -> Iterator[list[str]]:
    unread = chain.from_iterable((one.skipped, one.unread) for one in merging.surveys)
    lines = list(chain.from_iterable(map(_lines, unread)))
    yield ["Not read:", *lines] if lines else []
    shown = [f"  {_said(one)}" for one in merging.disagreements[:SHOWN]]
    rest = merging.disagreeing - len(shown)
    yield ["The lists disagree:", *shown, *([f"  and {rest:,} more"] if rest else [])] if shown else []


def _lines(remarks: Remarks) -> list[str]:
    shown = [f"  {safe(str(one))}" for one in remarks.first[:SHOWN]]
    rest = remarks.count - len(shown)
    return [*shown, *([f"  and {rest:,} more in {safe(remarks.first[0].position.file)}"] if rest else [])]


def _said(one: Disagreement) -> str:
    values = [f"{safe(value, 80)} ({safe(where, 80)})" for value, where in one.values[:6]]
    values += [f"{len(one.values) - 6 + one.more} more"] if len(one.values) > 6 else []
    return f"{one.address} has the {one.what}s {listed(values, 7)}"


def _evidence(evidence: Sequence[SubnetCoverage] | None) -> list[list[str]]:
    if not evidence:
        return []
    head = ("subnet", "prefix", "hosts", "covered", "not covered")
    rows = [
        (safe(one.subnet, 40), one.prefix or "cannot be read", one.hosts, one.covered, _gaps(one)) for one in evidence
    ]
    return [[tabulate(rows, head, "simple", disable_numparse=True)]]


def _gaps(one: SubnetCoverage) -> str:
    if one.covered == "no":
        return "an address that is in no list may still be in use"
    return listed([str(prefix) for prefix in one.uncovered], 4) if one.uncovered else ""


def _sum(merging: Merging) -> str:
    files, addresses = len(merging.surveys), merging.addresses
    not_read = sum(one.skipped.count + one.unread.count for one in merging.surveys)
    return (
        f"{addresses:,} address{'' if addresses == 1 else 'es'} from {files} file{'' if files == 1 else 's'}; "
        f"{not_read:,} not read; {merging.disagreeing:,} disagreement{'' if merging.disagreeing == 1 else 's'}"
    )
