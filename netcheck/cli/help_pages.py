"""The classes of typer's groups and commands whose help shows no type beside an option that takes no value."""

from __future__ import annotations

from typing import Any

import typer.core


class Summarised(typer.core.TyperGroup):
    """A group of commands whose help shows no type beside an option that takes no value."""

    def get_params(self, ctx: Any) -> list[Any]:
        """Return the parameters; the type of a switch, which typer shows as `<bool>`, is empty."""
        return _without_types_of_switches(super().get_params(ctx))


class Explained(typer.core.TyperCommand):
    """A command whose help shows no type beside an option that takes no value."""

    def get_params(self, ctx: Any) -> list[Any]:
        """Return the parameters; the type of a switch, which typer shows as `<bool>`, is empty."""
        return _without_types_of_switches(super().get_params(ctx))


def _without_types_of_switches(params: list[Any]) -> list[Any]:
    for param in params:
        if getattr(param, "is_flag", False) and param.metavar is None:
            param.metavar = ""
    return params
