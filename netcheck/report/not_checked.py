"""Lists in sentences what neither the check nor the proofs cover."""

from __future__ import annotations

from collections.abc import Iterator

from netcheck.proof.result import Verdict
from netcheck.report.model import Report
from netcheck.text import listed

SHOWN = 12  # names in one sentence; the others are counted


def not_checked(report: Report) -> tuple[str, ...]:
    """Return the gaps: of the plan, of its surveys, of the proofs, and those that no check can close."""
    return (*_plan(report), *_surveys(report), *_proofs(report), *_never(report))


def _plan(report: Report) -> Iterator[str]:
    plan = report.plan
    unread = sum(finding.rule == "unreadable-value" for finding in report.checked.findings)
    if unread:
        yield f"Values that cannot be read: {unread}. No rule could use them."
    unplaced = [each.subject for each in plan.interfaces if each.address is None or not each.address.text]
    if unplaced:
        yield f"Interfaces without an address: {listed(unplaced, SHOWN)}."
    if not plan.conversations:
        yield "The plan lists no conversations: whether devices can reach each other was not checked."


def _surveys(report: Report) -> Iterator[str]:
    if not report.surveys:
        yield "The plan names no survey: clashes with hosts that are already on the site were not checked."
    every = (*report.checked.findings, *(agreed.finding for agreed in report.checked.accepted))
    for finding in every:
        if report.surveys and finding.rule == "not-surveyed":
            yield f"Subnet {finding.subjects[0]}: {finding.message}."
    for survey in report.surveys:
        skipped = survey.skipped
        if skipped.count:
            yield f"Rows of {survey.file} that could not be used: {skipped.count}; the first: {skipped.first[0]}."


def _proofs(report: Report) -> Iterator[str]:
    if not report.records:
        yield "No record of a proving run was given: this report does not show that any device replies."
        return
    untested = [port.proof.subject for port in report.ports if port.verdict is Verdict.NOT_TESTED]
    if untested:
        yield f"Ports not tested: {listed(untested, SHOWN)}."


def _never(report: Report) -> Iterator[str]:
    yield "A survey shows the hosts of its date; an address that it does not list is not proven free."
    # RFC 6918 withdrew the address mask messages: masks cannot be read over the network.
    yield "Masks and gateways are checked as planned; the values in a device cannot be read over the network."
