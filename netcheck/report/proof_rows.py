"""Turns ports, surveys and records into rows of text that Markdown and plain text share."""

from __future__ import annotations

from collections.abc import Iterator

from netcheck.addr import mac_text
from netcheck.report.model import Report, short
from netcheck.report.text.proofs import marked
from netcheck.report.words import moment

RECORD_HEADERS = ("record", "state", "proved by", "started, local time", "seal")
HEADERS = ("port", "address", "verdict", "cable", "answered by", "luck", "unheard", "when", "record", "why")


def port_rows(report: Report) -> Iterator[tuple[str, ...]]:
    """Yield one row a port in the order of `HEADERS`; unknown values are empty."""
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
            proof.why,
        )


def survey_rows(report: Report) -> Iterator[tuple[str, ...]]:
    """Yield one row a survey: file, date, coverage and number of hosts."""
    for survey in report.surveys:
        covers = ", ".join(map(str, survey.covers)) or "nothing named"
        yield survey.file, str(survey.taken or "no date given"), covers, str(len(survey.hosts))


def record_rows(report: Report) -> Iterator[tuple[str, ...]]:
    """Yield one row a record in the order of `RECORD_HEADERS`."""
    for record in report.records:
        seen = record.verification
        by = "; ".join(dict.fromkeys(run.by or "not named" for run in record.content.runs))
        began = "; ".join(dict.fromkeys(run.local or "not recorded" for run in record.content.runs))
        yield short(record), str(seen.state), by, began, seen.seal or "none: the chain is broken"
