"""`netcheck schema`: prints the JSON Schema of plan.toml."""

from __future__ import annotations


def command() -> None:
    """Print the JSON Schema (2020-12) of plan.toml, with which an editor completes keys and marks mistakes.

    Example: netcheck schema > plan.schema.json
    """
    import json

    from netcheck.plan.schema import plan_schema
    from netcheck.rules.catalogue import RULES
    from netcheck.survey.read import kinds

    print(json.dumps(plan_schema([rule.slug for rule in RULES], kinds()), indent=2))
