"""Turns requests, changes, ports, surveys and records into tables of text that several formats share."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from netcheck.addr import mac_text
from netcheck.report.changes import Changed, Changes
from netcheck.report.model import PortResult, Report, short
from netcheck.report.text.proofs import marked
from netcheck.report.words import moment
from netcheck.requests.build import asked_of
from netcheck.rules.finding import AcceptedFinding, Finding


class Part(NamedTuple):
    """A titled table, or lines to be copied verbatim; both may be empty."""

    title: str
    headers: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    lines: tuple[str, ...] = ()

    @property
    def size(self) -> int:
        """Return the number of rows or lines."""
        return len(self.rows) + len(self.lines)


def asked_parts(report: Report) -> Iterator[Part]:
    """Yield reservations, pools, DNS records, conversations and switch ports."""
    asked = asked_of(report.checked)
    yield Part(
        "Addresses to reserve",
        ("interface", "address", "MAC", "host name", "subnet", "VLAN", "switch port", "note"),
        tuple(
            (one.subject, one.address, one.mac, one.host_name, one.subnet, one.vlan, one.switch_port, one.note)
            for one in asked.of("reservation")
        ),
    )
    yield Part(
        "Pools to change",
        ("interfaces inside", "subnet", "addresses", "change", "note"),
        tuple((one.subject, one.subnet, one.address, one.what, one.note) for one in asked.of("pool change")),
    )
    if not asked.zones:
        yield Part("DNS records")
    for zone in asked.zones:
        yield Part(f"DNS records, {zone.title[:1].lower()}{zone.title[1:]}", lines=tuple(zone.text.splitlines()))
    yield Part(
        "Conversations to let through",
        ("from", "its address", "subnet", "to", "note"),
        tuple((one.subject, one.address, one.subnet, one.what, one.note) for one in asked.of("conversation")),
    )
    yield Part(
        "Switch ports and VLANs",
        ("interface", "switch port", "VLAN", "subnet", "note"),
        tuple((one.subject, one.switch_port, one.vlan, one.subnet, one.note) for one in asked.of("switch port")),
    )


def changes_parts(changes: Changes) -> Iterator[Part]:
    """Yield new, resolved, accepted and remaining findings, then the subnets and interfaces that changed."""
    for title, findings in (
        ("New findings", changes.new),
        ("Resolved findings", changes.gone),
        ("Findings accepted since", changes.agreed),
        ("Remaining findings", changes.remaining),
    ):
        yield Part(title, ("severity", "rule", "subject", "address", "what"), tuple(map(_finding, findings)))
    rows = tuple((*_finding(each.finding), answered_words(each)) for each in changes.answered)
    yield Part("Findings answered before", ("severity", "rule", "subject", "address", "what", "answer"), rows)
    for group in changes.groups:
        rows = tuple((each.subject, str(each.turn), words_of(each)) for each in group.changed)
        yield Part(f"{group.one.capitalize()}s changed", (group.one, "change", "values"), rows)


def answered_words(each: AcceptedFinding) -> str:
    """Return in words that an answer still holds."""
    day = f" of {each.decided}" if each.decided else ""
    return f"unchanged since your answer{day}: accepted by {each.by}"


def changes_line(changes: Changes) -> str:
    """Return in one line which revision the plan was compared with."""
    before = changes.before.plan
    revision = f", revision {before.revision}" if before.revision else ""
    return f"Compared with {before.name}{revision}; SHA-256 of its files: {before.sha256}"


def words_of(changed: Changed) -> str:
    """Return the differences of a subnet or an interface in one line."""
    return "; ".join(f"{one.what}: {one.before or 'none'} -> {one.now or 'none'}" for one in changed.differences)


def _finding(finding: Finding) -> tuple[str, ...]:
    subjects = ", ".join(finding.subjects)
    return str(finding.severity), finding.rule, subjects, finding.address or "", finding.message


RECORD_HEADERS = ("record", "state", "proved by", "started, local time", "seal")
PORT_HEADERS = ("port", "address", "verdict", "cable", "answered by", "luck", "unheard", "when", "record", "why")


def port_rows(report: Report) -> Iterator[tuple[str, ...]]:
    """Yield one row a port in the order of `PORT_HEADERS`; unknown values are empty."""
    for port in report.ports:
        proof, evidence = port.proof, port.evidence
        yield (
            proof.subject,
            proof.address,
            marked(proof.verdict, report.simulated),
            proof.cable or "",
            "" if proof.mac is None else mac_text(proof.mac),
            "" if proof.luck is None else f"{proof.luck:.1e}",
            "" if proof.unheard is None else f"{proof.unheard:.1e}",
            moment(evidence.proved.at) if evidence else "",
            f"{evidence.record}, line {evidence.proved.line}" if evidence else "",
            " ".join((proof.why, *further_words(port))),
        )


def further_words(port: PortResult) -> Iterator[str]:
    """Yield later attempts that settled nothing, and the technicians' remarks, as sentences."""
    for attempt in port.later:
        yield f"A later attempt settled nothing: {attempt}."
    for remark in port.remarks:
        yield f"Remark{f' of {remark.by}' if remark.by else ''}: {remark.text}"


def survey_rows(report: Report) -> Iterator[tuple[str, ...]]:
    """Yield one row a survey: file, date, coverage and number of hosts, or that it could not be read."""
    for survey in report.surveys:
        covers = ", ".join(map(str, survey.covers)) or "nothing named"
        hosts = "not read" if survey.failed else str(len(survey.hosts))
        yield survey.file, str(survey.taken or "no date given"), covers, hosts


FILE_HEADERS = ("record", "file", "bytes", "SHA-256")


def file_rows(report: Report) -> Iterator[tuple[str, ...]]:
    """Yield one row a file that belongs to a record in the order of `FILE_HEADERS`."""
    for record in report.records:
        for file in record.content.attachments:
            yield short(record), file.name, str(file.size), file.sha256


def remark_rows(report: Report) -> Iterator[tuple[str, ...]]:
    """Yield one row a remark that is about no port of the plan: port, who and text."""
    yield from ((one.port or "whole run", one.by, one.text) for one in report.remarks)


def record_rows(report: Report) -> Iterator[tuple[str, ...]]:
    """Yield one row a record in the order of `RECORD_HEADERS`."""
    for record in report.records:
        seen = record.verification
        by = "; ".join(dict.fromkeys(run.by or "not named" for run in record.content.runs))
        began = "; ".join(dict.fromkeys(run.local or "not recorded" for run in record.content.runs))
        yield short(record), str(seen.state), by, began, seen.seal or "none: the chain is broken"
