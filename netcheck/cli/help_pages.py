"""The classes of commands whose help shows no type beside an argument, or an option that takes no value."""

from __future__ import annotations

from typing import Any

import typer.core


class PlainHelpGroup(typer.core.TyperGroup):
    """A group of commands whose help shows no type beside an argument, or an option that takes no value."""

    def get_params(self, ctx: Any) -> list[Any]:
        """Return the parameters; the types `<bool>` of a switch and `<list[Path]>` of an argument are left out."""
        return _without_needless_types(super().get_params(ctx))


class PlainHelpCommand(typer.core.TyperCommand):
    """A command whose help shows no type beside an argument, or an option that takes no value."""

    def get_params(self, ctx: Any) -> list[Any]:
        """Return the parameters; the types `<bool>` of a switch and `<list[Path]>` of an argument are left out."""
        return _without_needless_types(super().get_params(ctx))


def _without_needless_types(params: list[Any]) -> list[Any]:
    for param in params:
        if param.param_type_name == "argument":
            param.display_type_rich = _no_type
        elif param.is_flag and param.metavar is None:
            param.metavar = ""
    return params


def _no_type(ctx: Any) -> str:
    return ""
