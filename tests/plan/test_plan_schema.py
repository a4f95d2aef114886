"""The plan's JSON Schema agrees with existing plans and with the reader that it describes."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from datetime import date
from pathlib import Path
from typing import Any, get_origin

import pytest
from jsonschema import Draft202012Validator

from netcheck.plan.schema import ENTRIES, WORDS, plan_schema
from netcheck.plan.shapes import PlanShape

PLANS = Path(__file__).parents[2] / "plans"
# The keywords of the core, applicator and validation vocabularies of JSON Schema 2020-12 that the schema may use.
KEYWORDS = {"$schema", "$defs", "$ref", "title", "description", "default", "type", "properties", "required", "items"}
KEYWORDS |= {"additionalProperties", "anyOf", "const", "format", "minLength", "minItems", "minimum", "maximum", "enum"}
KEYWORDS |= {"exclusiveMinimum", "exclusiveMaximum", "maxLength", "pattern"}
TYPES: dict[str, tuple[type, ...]] = {
    "string": (str,),
    "integer": (int,),
    "number": (int, float),
    "array": (list,),
    "object": (dict,),
}


def faults(value: Any, node: dict[str, Any], whole: dict[str, Any], at: str = "") -> list[str]:
    """Return the values that do not fit, found by a small validator of the keywords for a plan's structure."""
    if "$ref" in node:
        return faults(value, whole["$defs"][node["$ref"].removeprefix("#/$defs/")], whole, at)
    named = node.get("type", [])
    kinds = [named] if isinstance(named, str) else named
    fitting = any(isinstance(value, TYPES[kind]) for kind in kinds) and not isinstance(value, bool)
    if kinds and not fitting:
        return [f"{at}: type"]
    if "const" in node and value != node["const"]:
        return [f"{at}: const"]
    if isinstance(value, str) and len(value) < node.get("minLength", 0):
        return [f"{at}: minLength"]
    found = []
    if isinstance(value, list):
        found += [f"{at}: minItems"] if len(value) < node.get("minItems", 0) else []
        found += [each for n, item in enumerate(value) for each in faults(item, node["items"], whole, f"{at}[{n}]")]
    if isinstance(value, dict):
        known = node["properties"]
        found += [f"{at}.{key}: unknown" for key in value.keys() - known.keys()]
        found += [f"{at}.{key}: missing" for key in set(node.get("required", ())) - value.keys()]
        both = value.keys() & known.keys()
        found += [each for key in both for each in faults(value[key], known[key], whole, f"{at}.{key}")]
    return found


def loaded(text: str) -> Any:
    """Return TOML as JSON values; days become text, because JSON has no days."""
    plain = json.dumps(
        tomllib.loads(text), default=lambda value: value.isoformat() if isinstance(value, date) else None
    )
    return json.loads(plain)


def nodes(node: Any) -> list[dict[str, Any]]:
    """Yield every schema inside a schema."""
    found = [node]
    for key in ("properties", "$defs"):
        found += [each for inner in node.get(key, {}).values() for each in nodes(inner)]
    found += nodes(node["items"]) if "items" in node else []
    return found + [each for inner in node.get("anyOf", ()) for each in nodes(inner)]


def test_it_is_a_schema_of_2020_12() -> None:
    """The schema names its dialect, uses only keywords of that dialect, and every reference resolves."""
    schema = plan_schema()
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    for node in nodes(schema):
        assert set(node) <= KEYWORDS
        assert node.get("$ref", "#/$defs/Site").removeprefix("#/$defs/") in schema["$defs"]
        assert set(node.get("required", ())) <= set(node.get("properties", ()))


def test_it_is_valid_by_the_meta_schema() -> None:
    """A general-purpose validator accepts it (JSON Schema 2020-12)."""
    Draft202012Validator.check_schema(plan_schema())


@pytest.mark.parametrize("name", ["tarn-hollow", "tarn-hollow-mended"])
def test_the_demo_plans_fit(name: str) -> None:
    """Both invented plants are valid, with bare numbers as slots and days without quotes."""
    schema = plan_schema()
    assert faults(loaded((PLANS / name / "plan.toml").read_text("utf-8")), schema, schema) == []


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("format = 1\n", ".site: missing"),
        ("format = 2\n[site]\nname = 'x'\n", ".format: const"),
        ("format = 1\nsurprise = 1\n[site]\nname = 'x'\n", ".surprise: unknown"),
        ("format = 1\n[site]\nname = ''\n", ".site.name: minLength"),
        ("format = 1\n[site]\nname = 'x'\n[[subnet]]\nname = 'a'\n", ".subnet[0].prefix: missing"),
        ("format = 1\n[site]\nname = 'x'\n[[subnet]]\nname = 'a'\nprefix = '::/64'\nvlan = 'six'\n", "vlan: type"),
        (
            "format = 1\n[site]\nname = 'x'\n[[device]]\nname = 'a'\n[[device.interface]]\nname = 'b'\nsubnet = 'c'\n"
            "adress = 'd'\n",
            ".device[0].interface[0].adress: unknown",
        ),
    ],
)
def test_a_plan_that_the_reader_refuses_does_not_fit(text: str, fault: str) -> None:
    """Missing keys, unknown keys, wrong types and another format are invalid in the schema too."""
    schema = plan_schema()
    assert [each for each in faults(loaded(text), schema, schema) if each.endswith(fault)] != []


def test_every_table_has_its_shape() -> None:
    """The schema has every table of the plan, and describes only existing keys."""
    tables = {key for key, field in PlanShape.model_fields.items() if get_origin(field.annotation) in (list, dict)}
    assert tables == {*ENTRIES, "device"}
    assert WORDS.keys() <= {key for node in nodes(plan_schema()) for key in node.get("properties", ())}


def test_the_command_prints_it() -> None:
    """`netcheck schema` prints the complete schema on standard output."""
    run = subprocess.run([sys.executable, "-m", "netcheck", "schema"], capture_output=True, text=True, check=True)
    shown = json.loads(run.stdout)
    rules, kinds = shown["$defs"]["Accepted"]["properties"]["rule"], shown["$defs"]["Survey"]["properties"]["kind"]
    assert {"taken-on-site", "outside-scheme"} <= set(rules.pop("enum"))
    assert {"", "csv", "zone", "leases"} <= set(kinds.pop("enum"))
    assert shown == plan_schema()


@pytest.mark.parametrize(
    ("text", "fits"),
    [
        ("vlan = 4094", True),
        ("vlan = 0", False),
        ("vlan = 4095", False),
        ("[[accepted]]\nrule = 'too-near'\nsubject = 'a'\nby = 'b'\nbecause = 'c'", True),
        ("[[accepted]]\nrule = 'to-near'\nsubject = 'a'\nby = 'b'\nbecause = 'c'", False),
        ("[[conversation]]\nfrom = 'a/b'\nto = 'c/d'\nstarts = 'from'\nservices = ['tcp 502']", True),
        ("[[conversation]]\nfrom = 'a/b'\nto = 'c/d'\nstarts = 'left'", False),
        ("[[conversation]]\nfrom = 'a/b'\nto = 'c/d'\nservices = ['modbus']", False),
        ("[[scheme]]\nkind = 'drive'\nrange = '.100-.149'", True),
        ("[[island]]\nname = 'machine-1'\nsite = false", True),
    ],
)
def test_values_that_an_editor_marks(text: str, fits: bool) -> None:
    """A general-purpose validator refuses wrong VLAN IDs, rule names and services."""
    head = "format = 1\n[site]\nname = 'x'\n[[subnet]]\nname = 'a'\nprefix = '10.0.0.0/24'\n"
    schema = plan_schema(["too-near"], ["csv"])
    assert Draft202012Validator(schema).is_valid(loaded(head + text)) == fits
