"""Returns the check of a plan as values for `json.dumps`, keys in a fixed order."""

from __future__ import annotations

from typing import Any

from netcheck import __version__
from netcheck.rules.engine import Checked
from netcheck.rules.finding import AcceptedFinding, Finding, Fix


def to_json(checked: Checked) -> dict[str, Any]:
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
    """Return one finding; `address` and `fix` are null where there is none."""
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
