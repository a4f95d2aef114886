"""`netcheck rules`: lists the rules of the check, or explains one."""

from __future__ import annotations

from typing import Annotated

import typer

from netcheck.cli import options as o
from netcheck.errors import UsageError

PLAIN_WIDTH = 120  # columns if the output is not a terminal
READABLE = 100  # columns of a line of prose, at most


def command(
    slug: Annotated[str, typer.Argument(help="The rule to explain.", metavar="SLUG", show_default=False)] = "",
    form: Annotated[
        o.TextFormat, typer.Option("--format", help="Format of the output; JSON has all rules with their examples.")
    ] = o.TextFormat.TEXT,
) -> None:
    """List the rules of the check, or explain one rule with its reason, its source and an example.

    Example: netcheck rules taken-on-site
    """
    import json
    import shutil
    import sys

    from netcheck.report.text.rules import to_json, to_list, to_page
    from netcheck.rules.catalogue import RULE_NAMED, RULES

    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else PLAIN_WIDTH
    if slug and slug not in RULE_NAMED:
        raise UsageError.of(f"there is no rule {slug[:60]!r}", do=_hint(slug, list(RULE_NAMED)))
    if form is o.TextFormat.JSON:
        print(json.dumps(to_json(RULE_NAMED[slug]) if slug else [*map(to_json, RULES)], indent=2))
    elif not slug:
        print(to_list(RULES, min(width, PLAIN_WIDTH)), end="")
    else:
        print(to_page(RULE_NAMED[slug], min(width, READABLE)), end="")


def _hint(slug: str, known: list[str]) -> str:
    from difflib import get_close_matches

    near = get_close_matches(slug[:60].casefold(), known, 1, 0.5)
    return f"Did you mean {near[0]}?" if near else "`netcheck rules` lists them all"
