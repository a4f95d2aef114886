"""Returns checks and whole reports as values for `json.dumps`, with keys in a fixed order."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from netcheck import __version__
from netcheck.answers.table import boxes_of, choices_of
from netcheck.record.verify import VerifiedRecord
from netcheck.report.address_list import address_list_to_json
from netcheck.report.changes import Changed, Changes
from netcheck.report.csv_tables import REQUEST_COLUMNS, row_of
from netcheck.report.model import Evidence, PortResult, Report, short
from netcheck.report.part_rows import SAID_COLUMNS, said_part
from netcheck.report.text import verification as verifications
from netcheck.report.text.proofs import summary
from netcheck.requests.build import asked_of
from netcheck.requests.model import Request
from netcheck.rules.engine import Checked
from netcheck.rules.finding import AcceptedFinding, Finding, Fix


def checked_json(checked: Checked) -> dict[str, Any]:
    """Return one object: plan, counts, open findings and accepted findings."""
    plan = checked.plan
    return {
        "netcheck": __version__,
        "plan": {"name": plan.name, "revision": plan.revision, "sha256": plan.sha256},
        "summary": checked.summary,
        "findings": [finding_json(finding) for finding in checked.findings],
        "accepted": [_agreed_json(agreed) for agreed in checked.accepted],
    }


def finding_json(finding: Finding) -> dict[str, Any]:
    """Return one finding; `address` and `fix` are null if it has none."""
    return {
        "rule": finding.rule,
        "severity": finding.severity.value,
        "subjects": list(finding.subjects),
        "address": finding.address,
        "message": finding.message,
        "source": finding.source,
        "fix": _fix_json(finding.fix, len(finding.subjects)),
        "where": finding.where,
    }


def _fix_json(fix: Fix | None, subjects: int) -> dict[str, Any] | None:
    if fix is None:
        return None
    if subjects == 1:
        return {"address": str(fix.addresses[0][1])}
    return {"addresses": {subject: str(address) for subject, address in fix.addresses}}


def _agreed_json(agreed: AcceptedFinding) -> dict[str, Any]:
    until = agreed.until.isoformat() if agreed.until else None
    decided = {"decided": agreed.decided.isoformat()} if agreed.decided else {}
    return {**finding_json(agreed.finding), "by": agreed.by, "because": agreed.because, "until": until, **decided}


def to_json(report: Report) -> bytes:
    """Return the report as ASCII, with keys in a fixed order and a final line break."""
    return json.dumps(shape_of(report), indent=2, allow_nan=False).encode("ascii") + b"\n"


def shape_of(report: Report) -> dict[str, Any]:
    """Return the object; `findings` and `accepted` are as in `check` with a `key` each, `proofs` as in `prove`."""
    checked = checked_json(report.checked)
    keyed = zip(report.checked.findings, checked["findings"], strict=True)
    agreed = zip(report.checked.accepted, checked["accepted"], strict=True)
    return {
        **checked,
        "today": report.today.isoformat(),
        "reply_by": report.reply_by.isoformat() if report.reply_by else None,
        "sent_by": report.sent_by or None,
        "simulated": report.simulated,
        "does_not_fit": list(report.misfits),
        "findings": [
            {**shape, "key": finding.key, "number": number, "choices": [*boxes_of(finding)]}
            for number, (finding, shape) in enumerate(keyed, 1)
        ],
        "accepted": [
            {**shape, "key": one.finding.key, "number": number, "choices": [*choices_of(one.finding, accepted=True)]}
            for number, (one, shape) in enumerate(agreed, len(report.checked.findings) + 1)
        ],
        "site_remarks": [_site_remark(row) for row in said_part(report).rows],
        "addresses": address_list_to_json(report),
        "asked": [_request(request) for request in asked_of(report.checked).requests],
        **({"changes": _changes(report.changes)} if report.changes else {}),
        "proofs": [_proof(port, report.simulated) for port in report.ports],
        "verdicts": summary([port.proof for port in report.ports]),
        "no_longer_planned": [evidence.proved.proof.to_json() for evidence in report.gone],
        "remarks": [{"at": one.at, "port": one.port, "by": one.by or None, "text": one.text} for one in report.remarks],
        "records": [_record(record, report.plan.sha256) for record in report.records],
    }


def _site_remark(row: Sequence[str]) -> dict[str, Any]:
    """Return a question or change of the site with its reply.

    `number` is the number of its finding; null if the finding is resolved.
    """
    cells = dict(zip(SAID_COLUMNS, row, strict=True))
    number = int(cells["number"]) if cells["number"] else None
    return {"number": number, **{key: cells[key] or None for key in SAID_COLUMNS[1:]}}


def _request(request: Request) -> dict[str, str]:
    """Return the cells of a request that are not empty, by the column names of the CSV file.

    `granted` says who granted the request, when, and under which ticket.
    """
    cells = dict(zip(REQUEST_COLUMNS, row_of(request), strict=True)) | {"granted": request.granted}
    return {name: cell for name, cell in cells.items() if cell}


def _changes(changes: Changes) -> dict[str, Any]:
    """Return the differences from the earlier revision; findings of this report are given by key."""
    before = changes.before.plan
    return {
        "since": {"name": before.name, "revision": before.revision, "sha256": before.sha256},
        "new": [finding.key for finding in changes.new],
        "gone": [{**finding_json(finding), "key": finding.key} for finding in changes.gone],
        "accepted": [finding.key for finding in changes.agreed],
        "remaining": [finding.key for finding in changes.remaining],
        "answered": [each.finding.key for each in changes.answered],
        **{group.key: [*map(_changed, group.changed)] for group in changes.groups},
    }


def _changed(each: Changed) -> dict[str, Any]:
    values = {one.what: {"before": one.before or None, "now": one.now or None} for one in each.differences}
    return {"subject": each.subject, "turn": str(each.turn), "values": values}


def _proof(port: PortResult, simulated: bool) -> dict[str, Any]:
    """Return the proof of a port as in `prove`, with its place in the record and all attempts."""
    evidence = port.evidence
    return {
        **port.proof.to_json(),
        **({"simulated": True} if simulated else {}),
        "at": evidence.proved.at if evidence else None,
        "record": evidence.record if evidence else None,
        "line": evidence.proved.line if evidence else None,
        "not_counted": list(map(str, port.earlier)),
        "attempts": [_attempt(each) for each in (*((evidence,) if evidence else ()), *port.earlier)],
        "remarks": [{"at": one.at, "by": one.by or None, "text": one.text} for one in port.remarks],
    }


def _attempt(evidence: Evidence) -> dict[str, Any]:
    """Return one attempt at a port; the first attempt in the list of a port is the one that counts."""
    proved = evidence.proved
    verdict = str(proved.proof.verdict)
    return {
        "verdict": verdict,
        "at": proved.at,
        "by": evidence.by or None,
        "record": evidence.record,
        "line": proved.line,
    }


def _record(record: VerifiedRecord, sha256: str) -> dict[str, Any]:
    """Return the state of a record; *sha256* is the hash of the plan of this report."""
    return {
        **verifications.to_json(short(record), record.verification),
        "simulated": record.content.simulated,
        "plan_sha256": record.content.sha256,
        "same_plan": record.content.sha256 == sha256,
        "runs": [run.to_json() for run in record.content.runs],
        "attachments": [
            {"name": one.name, "size": one.size, "sha256": one.sha256} for one in record.content.attachments
        ],
    }
