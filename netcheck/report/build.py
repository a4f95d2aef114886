"""Builds the report from a plan's check and its records."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date
from itertools import chain

from netcheck import __version__
from netcheck.errors import Problem, RecordError
from netcheck.plan.model import Interface, Plan, row_hashes
from netcheck.proof.result import Proof, Verdict
from netcheck.record.evidence import contradictions
from netcheck.record.model import PortRemark
from netcheck.record.verify import VerifiedRecord
from netcheck.report.changes import changes_of
from netcheck.report.model import Evidence, PortResult, Report, short
from netcheck.rules.catalogue import RULES
from netcheck.rules.engine import Checked
from netcheck.survey.model import Survey
from netcheck.text import number_of

NONE_GIVEN = "The records hold no proof of this port."


def report_of(
    checked: Checked,
    surveys: tuple[Survey, ...],
    records: tuple[VerifiedRecord, ...],
    today: date,
    before: Checked | None = None,
    surveys_before: tuple[Survey, ...] = (),
) -> Report:
    """Return the report; raise RecordError, which names the records, if a record is of another plan.

    *before* is the check of an earlier revision, for the same date.
    """
    plan = checked.plan
    _demand_own(plan, records)
    _demand_one_kind(records)
    proofs = _by_port(records)
    rows = row_hashes(plan)
    remarks = _remarks(records)
    ports = tuple(
        replace(
            _result(interface, port, proofs.pop(f"{interface.subject}:{port}", ()), plan.sha256, rows),
            remarks=remarks.pop(f"{interface.subject}:{port}", ()),
        )
        for interface in (plan.interfaces if records else ())
        for port in interface.ports
    )
    misfits = tuple(chain.from_iterable(_misfits(record, plan, rows) for record in records))
    gone = tuple(several[0] for several in proofs.values())
    changes = changes_of(before, checked, surveys_before, surveys) if before else None
    return Report(
        checked=checked,
        surveys=surveys,
        rules=RULES,
        records=records,
        ports=ports,
        gone=gone,
        today=today,
        version=__version__,
        changes=changes,
        misfits=misfits,
        remarks=tuple(chain.from_iterable(remarks.values())),
    )


def _demand_own(plan: Plan, records: Iterable[VerifiedRecord]) -> None:
    """Raise RecordError, with every such record, if a record belongs to another plan."""
    strange = [record for record in records if record.content.runs[0].plan != plan.name]
    if strange:
        raise RecordError(
            *(
                Problem(
                    f"this record belongs to the plan {record.content.runs[0].plan!r}, not to {plan.name!r}",
                    f"{record.path}: line 1",
                    "Name a record of this plan, or report on that plan",
                )
                for record in strange
            )
        )


def _demand_one_kind(records: Iterable[VerifiedRecord]) -> None:
    """Raise RecordError if simulated and real runs are mixed, in one record or between records."""
    mixed = [record for record in records if len({run.simulated for run in record.content.runs}) > 1]
    kinds = {record.content.simulated for record in records}
    if not mixed and len(kinds) > 1:
        mixed = [record for record in records if record.content.simulated]
    if mixed:
        do = "Leave out the records of rehearsals and demonstrations"
        raise RecordError(
            *(Problem("this record holds a simulated run, and others are real", record.path, do) for record in mixed)
        )


def _misfits(record: VerifiedRecord, plan: Plan, rows: dict[str, str]) -> Iterator[str]:
    """Yield a sentence for each contradiction in a record, or between a record and the plan, with the record's name."""
    name = short(record)
    yield from (f"{name}: {each}" for each in record.verification.contradictions)
    proofs = record.content.proofs
    if proofs and not any(each.is_current(plan.sha256, rows) for each in proofs):
        counted = number_of(len(proofs), "proof")
        yield f"{name}: none of its {counted} is of a row of this plan; it may be of another plan"
    for each in proofs:
        interface = plan.interface_named.get(each.proof.interface)
        if interface is not None and each.is_current(plan.sha256, rows):
            yield from (f"{name}: line {each.line}: {what}" for what in _against_row(each.proof, interface))


def _against_row(proof: Proof, interface: Interface) -> Iterator[str]:
    """Yield a sentence for each contradiction between a proof and the row of the plan that its hash names."""
    planned = interface.address.value if interface.address else None
    if planned is not None and proof.verdict is not Verdict.NOT_TESTED and proof.address != str(planned):
        yield f"{proof.subject}: the proof is of {proof.address}, and its row has {planned}"
    mac = interface.mac.value if interface.mac else None
    if mac is not None and proof.verdict is Verdict.PROVEN and proof.mac != mac.value:
        yield f"{proof.subject}: the proof is of another MAC than the {mac} of its row"


def _by_port(records: Iterable[VerifiedRecord]) -> dict[str, tuple[Evidence, ...]]:
    """Return all proofs by port, newest first; of two proofs with equal times the one in the later record comes first.

    A proof that two records contain (one can be an older copy of the other) counts once.
    """
    found: dict[str, list[Evidence]] = {}
    for record in records:
        for proved in (*record.content.older, *record.content.proofs):
            several = found.setdefault(proved.proof.subject, [])
            if proved not in (each.proved for each in several):
                several.insert(0, Evidence(proved, short(record)))
    newest = {port: sorted(several, key=lambda each: each.proved.at, reverse=True) for port, several in found.items()}
    return {port: tuple(several) for port, several in newest.items()}


def _remarks(records: Iterable[VerifiedRecord]) -> dict[str, tuple[PortRemark, ...]]:
    """Return the technicians' remarks by port, oldest first, without repetitions."""
    found: dict[str, dict[PortRemark, None]] = {}
    for record in records:
        for remark in record.content.remarks:
            found.setdefault(remark.port, {})[remark] = None
    return {port: tuple(sorted(several, key=lambda each: each.at)) for port, several in found.items()}


def _result(
    interface: Interface, port: str, found: tuple[Evidence, ...], sha256: str, rows: dict[str, str]
) -> PortResult:
    """Return the result of a port: the proof that counts, or `not-tested` with the reason. *found* are all attempts."""
    latest = _attempt_that_counts(found, sha256, rows)
    fits = latest is not None and latest.proved.is_current(sha256, rows)
    contradiction = next(_contradictions(latest.proved.proof, interface), "") if latest is not None and fits else ""
    standing = latest if fits and not contradiction else None
    earlier = tuple(each for each in found if each is not standing)
    if standing is not None:
        return PortResult(interface, standing.proved.proof, standing, earlier)
    why = NONE_GIVEN
    if contradiction:
        why = f"Its recorded proof ({latest}) contradicts itself: {contradiction}."
    elif latest is not None:
        why = f"The plan's row changed after it was proven ({latest}): prove it again."
    address = str(interface.address.value or interface.address.text) if interface.address else ""
    return PortResult(
        interface,
        Proof(interface=interface.subject, port=port, address=address, verdict=Verdict.NOT_TESTED, why=why),
        None,
        earlier,
    )


def _contradictions(proof: Proof, interface: Interface) -> Iterator[str]:
    yield from contradictions(proof)
    yield from _against_row(proof, interface)


def _attempt_that_counts(found: tuple[Evidence, ...], sha256: str, rows: dict[str, str]) -> Evidence | None:
    """Return the attempt that counts: the latest with a definite verdict. *found* begins with the newest.

    If that attempt was made for another row of the plan, a later attempt at the present row counts instead.
    """
    counting: Evidence | None = None
    for each in reversed(found):
        before = None if counting is None else counting.proved.proof.verdict
        outdated = counting is not None and not counting.proved.is_current(sha256, rows)
        if each.proved.proof.verdict.replaces(before) or (outdated and each.proved.is_current(sha256, rows)):
            counting = each
    return counting
