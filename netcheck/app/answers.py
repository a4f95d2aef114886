"""Reads answered findings and requests to IT, writes the decisions into the plan, and prints the outcome."""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from netcheck.answers.apply import Outcome, confirmed, judged, remarks_of
from netcheck.answers.grants import REQUESTS, Grants, grants_from, is_answered, judged_grants
from netcheck.answers.read import FINDINGS, Answer, FilledRow, from_file, holds
from netcheck.answers.table import PLAN_COLUMN
from netcheck.plan.model import Plan
from netcheck.plan.write.addresses import Edit, with_addresses, with_granted, write_all
from netcheck.plan.write.decisions import PlanDecisions, with_decisions
from netcheck.report.text.answers import grants_to_json, grants_to_text, to_json, to_text
from netcheck.requests.build import asked_of
from netcheck.rules.engine import check
from netcheck.space.addressing import plan_with
from netcheck.survey.read import Site, read_site
from netcheck.text import for_terminal, listed, safe


def apply_answers(plan: Path, file: Path, day: date, by: str, *, write: bool, as_json: bool) -> int:
    """Apply the answers in a file to a plan and return the exit code: 1 if a row cannot be applied.

    A workbook of the report has both tables; its findings are applied first. *by* names who decided, for rows without a
    name. Without *write* no file changes.
    """
    requests = grants_from(file) if holds(file, REQUESTS) else None
    answers = from_file(file) if requests is None or holds(file, FINDINGS) else None
    paths: list[Path] = []
    shape: dict[str, Any] = {}
    flawed = False
    site = read_site(plan, in_part=True)
    _warn_of_other_plan(_plans_seen(answers or (), requests or ()), site.plan.sha256)
    if answers is not None:
        outcome, changed = _apply_findings(plan, site, answers, day, by, write=write)
        paths += changed
        flawed = bool(outcome.flaws)
        shape = to_json(outcome, bool(changed) and write)
        if not as_json:
            print(to_text(outcome, file.name), end="")
    if requests is not None:
        if paths and write:
            site = read_site(plan, in_part=True)
        grants, changed = _apply_requests(plan, site, requests, day, by, write=write)
        paths += changed
        flawed |= bool(grants.flaws)
        found = grants_to_json(grants, bool(changed) and write)
        shape = found if answers is None else {**shape, "requests": found}
        if not as_json and (grants.answered or answers is None):
            print(("" if answers is None else "\nRequests\n\n") + grants_to_text(grants), end="")
    if as_json:
        print(json.dumps(shape, indent=2))
    for path in dict.fromkeys(paths):
        print(f"{'written' if write else 'would be written'}: {safe(str(path))}", file=sys.stderr)
    if not paths:
        print("nothing to write", file=sys.stderr)
    return int(flawed)


def _plans_seen(answers: Iterable[Answer], requests: Iterable[FilledRow]) -> Counter[str]:
    """Return the hashes of the plans that the reviewer saw, each with the number of its answers."""
    hashes = [one.plan_sha256 for one in answers if one.given]
    hashes += [row.cells.get(PLAN_COLUMN, "") for row in requests if is_answered(row)]
    return Counter(filter(None, map(str.casefold, hashes)))


def _warn_of_other_plan(seen: Counter[str], sha256: str) -> None:
    """Warn if answers were given for another state of the plan; an answer applies only if its finding is the same."""
    others = seen.keys() - {sha256}
    if others:
        count = sum(seen[other] for other in others)
        words = "1 answer was" if count == 1 else f"{count} answers were"
        states = listed(sorted(safe(other, 12) for other in others))
        what = f"{words} given for another state of the plan (SHA-256 {states}, now {safe(sha256, 12)})"
        do = "Only answers whose finding or request is still the same are applied"
        print(for_terminal(f"netcheck: {what}. {do}", sys.stderr), file=sys.stderr)


def _apply_findings(
    plan: Path, site: Site, answers: Sequence[Answer], day: date, by: str, *, write: bool
) -> tuple[Outcome, list[Path]]:
    """Return the outcome of the answered findings, and the files that change."""
    outcome = judged(check(*site, day), answers, day, by)
    if outcome.moves:
        moved = plan_with(site.plan, outcome.addresses)
        outcome = confirmed(outcome, check(moved, site.surveys, day))
    decisions = _decisions(outcome, site.plan, day)
    addresses = with_addresses(plan, outcome.addresses) if outcome.moves else ()
    decided = with_decisions(plan, decisions)  # both edits are prepared before the first file is replaced
    if write and addresses:
        write_all(addresses)
        decided = with_decisions(plan, decisions)
    if write and decided is not None:
        decided.write()
    return outcome, _paths([*addresses, decided])


def _decisions(outcome: Outcome, plan: Plan, day: date) -> PlanDecisions:
    """Return the entries in the order of the findings; the order of the rows does not matter."""
    withdrawn = {str(entry.position): entry for one in outcome.withdrawn for entry in one.entries}
    accepted = sorted(outcome.accepted, key=lambda entry: (entry.rule, entry.subject, entry.address, entry.other))
    remarks = sorted(remarks_of(outcome, plan, day), key=lambda one: (one.rule, one.subject, one.address, one.other))
    return PlanDecisions(accepted=accepted, withdrawn=tuple(withdrawn.values()), remarks=remarks)


def _apply_requests(
    plan: Path, site: Site, rows: Sequence[FilledRow], day: date, by: str, *, write: bool
) -> tuple[Grants, list[Path]]:
    """Return the outcome of the answered requests, and the files that change."""
    grants = judged_grants(site.plan, asked_of(check(*site, day)).requests, rows, day, by)
    entries = PlanDecisions(granted=grants.entries)
    named = with_granted(plan, grants.granted) if grants.granted else ()
    moved = with_addresses(plan, grants.addresses) if grants.addresses else ()
    decided = with_decisions(plan, entries)
    if write:
        write_all(moved)
        write_all(with_granted(plan, grants.granted) if grants.granted else ())
        again = with_decisions(plan, entries)
        if again is not None:
            again.write()
    return grants, _paths([*named, *moved, decided])


def _paths(edits: Iterable[Edit | None]) -> list[Path]:
    return list(dict.fromkeys(edit.path for edit in edits if edit is not None))
