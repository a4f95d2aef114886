"""`netcheck schema`: prints the JSON Schema of plan.toml, or of the JSON that netcheck writes."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer


class SchemaOf(StrEnum):
    """The kind of data that a schema describes."""

    PLAN = "plan"
    REPORT = "report"
    FINDINGS = "findings"
    RECORD = "record"


def command(
    of: Annotated[
        SchemaOf,
        typer.Argument(
            metavar="[plan|report|findings|record]", help="The data that the schema describes.", show_default="plan"
        ),
    ] = SchemaOf.PLAN,
) -> None:
    """Print the JSON Schema (2020-12) of plan.toml, of a report, of findings, or of a line of a record.

    With the schema of plan.toml an editor completes keys and marks mistakes. The other schemas describe the files of
    `report --out FILE.json`, the output of `check --format json`, and each line of a record.

    Example: netcheck schema > plan.schema.json
    """
    import json

    if of is SchemaOf.PLAN:
        from netcheck.plan.schema import plan_schema
        from netcheck.rules.catalogue import RULES
        from netcheck.survey.read import kinds

        shape = plan_schema([rule.slug for rule in RULES], kinds())
    else:
        from netcheck.report.json_schemas import SCHEMAS

        shape = SCHEMAS[of]()
    print(json.dumps(shape, indent=2))
