"""Translates pydantic's error reports into problems in the user's terms."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, time
from difflib import get_close_matches

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from netcheck.errors import Problem
from netcheck.plan.model import Position
from netcheck.plan.shapes import FORMAT, SERVICE, DeviceShape, PlanShape, Shape, hyphened
from netcheck.text import Pattern, listed, safe

# The expected value in words, by the prefix of pydantic's error type.
_EXPECTED = (
    ("too_short", "at least one item"),
    ("string_too_long", "a DNS domain of at most 253 characters"),
    ("string", "text in quotes"),
    ("int", "a whole number"),
    ("float", "a number"),
    ("finite", "a number"),
    ("bool", "true or false"),
    ("date", "a date such as 2026-10-28"),
    ("list", "a list in square brackets"),
    ("dict", "a table"),
    ("model", "a table"),
)
_OF_THE_TOP = ("interfaces", "subnets", "conversations", "translations", "format")  # keys, not tables
# Other words for keys, common in spreadsheets and devices; common practice, no source.
_SAME = {
    "ip": "address", "ip-address": "address", "ipv4": "address", "netmask": "mask", "subnet-mask": "mask",
    "gw": "gateway", "default-gateway": "gateway", "router": "gateway", "network": "subnet", "net": "subnet",
    "cidr": "prefix", "tag": "name", "location": "place", "panel": "place", "type": "kind", "hostname": "host-name",
    "fqdn": "host-name",
    "mac-address": "mac", "comment": "remark", "note": "remark", "dhcp-pool": "pools", "pool": "pools",
    "switchport": "switch-port",
}  # fmt: skip
_LIMITS = {
    "greater_than": ("above", "gt"),
    "greater_than_equal": ("from", "ge"),
    "less_than": ("below", "lt"),
    "less_than_equal": ("up to", "le"),
}


def problems_of(
    error: ValidationError, shape: type[Shape], position_of: Callable[[tuple[int | str, ...]], Position], typed: bool
) -> Iterator[Problem]:
    """Yield one problem for each value that does not fit the shape."""
    for detail in error.errors(include_url=False):
        position = position_of(detail["loc"])
        yield (typed and _table_problem(detail, shape, position)) or _problem(
            detail, shape, position, "key" if typed else "column"
        )


def suggestion(word: str, known: list[str]) -> str:
    """Return `; did you mean "address"?` if a known word is similar or means the same, otherwise the empty text."""
    same = _SAME.get(hyphened(word.casefold()[:100]), "")
    near = [same] if same in known else get_close_matches(word.casefold()[:100], known, 1)
    return f'; did you mean "{near[0]}"?' if near else ""


def _table_problem(detail: ErrorDetails, shape: type[Shape], position: Position) -> Problem | None:
    """Return the problem of a TOML table whose name or brackets are wrong; None for any other error."""
    word, value = str(detail["loc"][0]), detail["input"]
    listed_tables = isinstance(value, list) and bool(value) and all(isinstance(each, dict) for each in value)
    if detail["type"] == "missing" or len(detail["loc"]) != 1 or not (listed_tables or isinstance(value, dict)):
        return None
    above = "device." if shape is DeviceShape else ""
    written = f"[[{above}{safe(word, 60)}]]" if listed_tables else f"[{above}{safe(word, 60)}]"
    where = str(position._replace(at=""))
    tables = {name: field.annotation for name, field in zip(keys_of(shape), shape.model_fields.values(), strict=True)}
    if detail["type"] in ("list_type", "dict_type"):
        right = f"[[{above}{word}]]" if detail["type"] == "list_type" else f"[{above}{word}]"
        return Problem(f"the table {written} must be written {right}", where, "Correct the brackets")
    known = [name for name, kind in tables.items() if getattr(kind, "__origin__", kind) in (list, dict)]
    near = get_close_matches(word.removesuffix("s"), known, 1) or get_close_matches(word, known, 1)
    if word.removesuffix("s") == "interface" and not above:
        near, above = ["interface"], "device."
    if not near and shape not in (PlanShape, DeviceShape):
        return None
    right = f"[[{above}{near[0]}]]" if near and near[0] != "site" else "[site]"
    do = f"Did you mean {right}?" if near else f"Known tables: {listed([f'[[{above}{name}]]' for name in known], 20)}"
    return Problem(f"unknown table {written}", where, do)


def _problem(detail: ErrorDetails, shape: type[Shape], position: Position, noun: str) -> Problem:
    key = _path(detail["loc"], noun)
    if detail["type"] == "extra_forbidden":
        known = keys_of(shape, detail["loc"])
        word = str(detail["loc"][-1])
        if noun == "key" and shape is not PlanShape and word in _OF_THE_TOP:
            do = f'In TOML it belongs to the table above it; put it at the top of the file, below "format = {FORMAT}"'
            return Problem(f"{key} is not known here", str(position), do)
        near = suggestion(word, known)
        return Problem(f"{key} is not known{near}", str(position), "" if near else f"Known here: {listed(known, 20)}")
    if detail["type"] == "missing":
        return Problem(f"{key} is {'missing' if noun == 'key' else 'empty'}", str(position))
    return Problem(f"{key}: expected {_expected(detail)}, found {found(detail['input'])}", str(position))


def keys_of(shape: type[Shape], path: tuple[int | str, ...] = ()) -> list[str]:
    """Return the keys of a shape, or those of the nested shape at a path."""
    # A field gets its generated alias when the validator is built, which happens on first use.
    aliases = {field.alias or hyphened(name): field.annotation for name, field in shape.model_fields.items()}
    inner = next((part for part in path[:-1] if isinstance(part, str)), None)
    for nested in _shapes_in(aliases.get(inner or "")):
        return keys_of(nested)
    return list(aliases)


def _shapes_in(annotation: object) -> Iterator[type[Shape]]:
    if isinstance(annotation, type) and issubclass(annotation, Shape):
        yield annotation
    for part in getattr(annotation, "__args__", ()):
        yield from _shapes_in(part)


def _path(loc: tuple[int | str, ...], noun: str) -> str:
    """Return the place of a value in words, such as `key "ports", item 2`."""
    parts = [f"item {part + 1}" if isinstance(part, int) else f'{noun} "{safe(part, 60)}"' for part in loc]
    return ", ".join(parts)


# Alternatives of a pattern, such as `^(?:from|to|both)?$`.
_WORDS = Pattern(r"\^\(\?:([A-Za-z -]+(?:\|[A-Za-z -]+)+)\)\??\$")


def _of_pattern(pattern: str) -> str:
    """Return the texts that a pattern accepts, in words."""
    if words := _WORDS.fullmatch(pattern):
        return listed([f'"{word}"' for word in words[1].split("|")], 20, joint="or")
    if pattern == SERVICE:
        return 'a transport protocol, alone or with a port or a range of ports up to 65535, such as "tcp 502"'
    return "a DNS domain of letters, digits, hyphens and dots, such as plant.example"


def _expected(detail: ErrorDetails) -> str:
    kind = detail["type"]
    if detail["input"] == "":
        return "something that is not empty"
    if kind == "string_pattern_mismatch":
        return _of_pattern(str(detail["ctx"]["pattern"]))
    if kind == "list_type" and isinstance(detail["input"], str):
        return f"a list in square brackets, such as [{found(detail['input'])}]"
    if kind in _LIMITS:
        word, limit = _LIMITS[kind]
        return f"a number {word} {detail['ctx'][limit]}"
    return next((words for start, words in _EXPECTED if kind.startswith(start)), "another value")


def found(value: object) -> str:
    """Return a value in the notation of its file, shortened for a message."""
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            return f'"{safe(value, 60)}"'
        case int():
            return str(value) if abs(value) < 10**15 else "a very large number"
        case float():
            return repr(value)
        case date() | time():
            return safe(value.isoformat())
        case list():
            return "a list"
        case _:
            return "a table"
