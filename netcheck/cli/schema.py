"""`netcheck schema`: prints the JSON Schema of plan.toml."""

from __future__ import annotations


def command() -> None:
    """Print the JSON Schema (2020-12) of plan.toml, with which an editor completes keys and marks mistakes.

    Example: netcheck schema > plan.schema.json
    """
    import json

    from netcheck.plan.schema import plan_schema

    print(json.dumps(plan_schema(), indent=2))
