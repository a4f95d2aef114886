"""Tells on standard error what of a plan's files is not part of the plan."""

from __future__ import annotations

import sys

from netcheck.plan.model import Plan
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
