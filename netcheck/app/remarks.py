"""Prints to standard error which sheets are not part of a plan, and which plans or surveys were not used."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from itertools import combinations

from netcheck.plan.model import Plan
from netcheck.rules.other_plans import are_revisions
from netcheck.survey.model import Survey
from netcheck.text import for_terminal, listed, safe


def report_other_sheets(plan: Plan) -> None:
    """Name the sheets of the plan's workbook that are not part of the plan."""
    if plan.other_sheets:
        names = listed([f'"{name}"' for name in plan.other_sheets], 20)
        words = f"sheets {names} are" if len(plan.other_sheets) > 1 else f"sheet {names} is"
        said = f"netcheck: {plan.position.file}: {words} not part of the plan: not read and not changed"
        print(for_terminal(said, sys.stderr), file=sys.stderr)


def report_revisions(plans: Sequence[tuple[str, Plan]]) -> None:
    """Name the plans that are not compared because they are revisions of one plan."""
    for (label, one), (other, two) in combinations(plans, 2):
        if are_revisions(one, two):
            what = f"{safe(label)} and {safe(other)} are not compared: they are revisions {safe(one.revision)} and"
            do = "Give them different names under [site] if they are plans of different machines"
            said = f"netcheck: {what} {safe(two.revision)} of {safe(one.name)}. {do}"
            print(for_terminal(said, sys.stderr), file=sys.stderr)


def report_failed_surveys(surveys: Iterable[Survey]) -> None:
    """Name the surveys that could not be read: the output does not show their hosts."""
    for survey in surveys:
        for problem in survey.failed:
            print(for_terminal(f"netcheck: {problem}. Its hosts are not shown", sys.stderr), file=sys.stderr)
