"""`netcheck schema`: the plan's JSON Schema, for editors."""

from __future__ import annotations

import json


def command() -> None:
    """Print the JSON Schema (2020-12) of plan.toml, with which an editor completes keys and marks mistakes.

    Example: netcheck schema > plan.schema.json
    """
    from netcheck.plan.schema import plan_schema

    print(json.dumps(plan_schema(), indent=2))
