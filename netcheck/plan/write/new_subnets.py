"""Adds subnets to a plan's `plan.toml`; the text that is there stays as it is."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from pathlib import Path

from netcheck.addr import Address, Prefix
from netcheck.errors import PlanError, Problem
from netcheck.files import FileError, read_bounded
from netcheck.plan.forms.toml_plan import PLAN_LIMIT, parsed
from netcheck.plan.read import plan_file, read_plan
from netcheck.plan.write.addresses import Edit
from netcheck.text import safe

NewSubnet = tuple[str, Prefix, Address]  # name, prefix, gateway
DO = "Add the subnets by hand"


def with_subnets(path: str | Path, subnets: Sequence[NewSubnet]) -> Edit:
    """Return `plan.toml` with a `[[subnet]]` table for each new subnet at its end.

    PlanError if the plan is a workbook, if a name exists already, or if the file cannot take tables at its end.
    """
    file = plan_file(Path(path))
    where = safe(file.name)
    if file.suffix.casefold() != ".toml":
        raise PlanError(Problem("subnets can be written into plan.toml only", where, DO))
    known = read_plan(path).subnet_named
    for name, _, _ in subnets:
        if name in known:
            raise PlanError(
                Problem(f"subnet {safe(name, 60)!r} exists already", where, "Give the new one another name")
            )
    try:
        data = read_bounded(file, PLAN_LIMIT, True)
    except FileError as error:
        raise PlanError(error.at(where)) from error
    text = data.decode("utf-8-sig")
    end = "\r\n" if "\r\n" in text else "\n"
    added = "".join(f"\n{_table(*one)}" for one in subnets)
    new = data + ("" if text.endswith("\n") or not text else "\n").encode() + added.replace("\n", end).encode("utf-8")
    _demand_same(parsed(data, where), new, subnets, where)
    return Edit(file, new)


def _table(name: str, prefix: Prefix, gateway: Address) -> str:
    return f'[[subnet]]\nname = {_quoted(name)}\nprefix = "{prefix}"\ngateway = "{gateway}"\n'


def _quoted(text: str) -> str:
    """Return a TOML basic string (TOML 1.0, String)."""
    plain = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(one if one.isprintable() else f"\\U{ord(one):08x}" for one in plain) + '"'


def _demand_same(before: dict[str, object], new: bytes, subnets: Sequence[NewSubnet], where: str) -> None:
    """Read the new text back: it must hold what it held before, and the new tables after it."""
    tables = [{"name": name, "prefix": str(prefix), "gateway": str(gateway)} for name, prefix, gateway in subnets]
    there = before.get("subnet", [])
    wanted = {**before, "subnet": [*(there if isinstance(there, list) else []), *tables]}
    try:
        same = tomllib.loads(new.decode("utf-8-sig")) == wanted
    except tomllib.TOMLDecodeError:
        same = False
    if not same:
        raise PlanError(Problem("its tables cannot be extended at the end of the file", where, DO))
