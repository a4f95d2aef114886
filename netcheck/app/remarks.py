"""Tells on standard error what of a plan's files is not part of the plan or could not be read."""

from __future__ import annotations

import sys
from collections.abc import Iterable

from netcheck.plan.model import Plan
from netcheck.survey.model import Survey
from netcheck.text import listed


def tell_other_sheets(plan: Plan) -> None:
    """Name the sheets of the plan's workbook that are not part of the plan."""
    if plan.other_sheets:
        several = len(plan.other_sheets) > 1
        names = listed([f'"{name}"' for name in plan.other_sheets], 20)
        words = (
            f"sheets {names} are not part of the plan; they stay"
            if several
            else (f"sheet {names} is not part of the plan; it stays")
        )
        print(f"netcheck: {plan.position.file}: {words} as {'they are' if several else 'it is'}", file=sys.stderr)


def tell_failed_surveys(surveys: Iterable[Survey]) -> None:
    """Name the surveys that could not be read: their hosts are missing from what is shown."""
    for survey in surveys:
        for problem in survey.failed:
            print(f"netcheck: {problem}. Its hosts are not shown", file=sys.stderr)
