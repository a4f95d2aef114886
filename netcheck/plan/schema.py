"""Makes the JSON Schema of `plan.toml` from the shapes that read it; editors use it to complete keys and mark mistakes.

The schema covers the structure: keys, types and required keys. It does not check addresses.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pydantic import create_model

from netcheck.plan.shapes import (
    FORMAT,
    AcceptedShape,
    ConversationShape,
    DeviceShape,
    GrantedShape,
    InterfaceShape,
    IslandShape,
    PlanShape,
    RemarkShape,
    RouterShape,
    SchemeShape,
    Shape,
    SiteShape,
    StationShape,
    SubnetShape,
    SurveyShape,
    TranslationShape,
)

VLAN_IDS = 1, 4094  # RFC 4363 section 5, VlanId
DIALECT = "https://json-schema.org/draft/2020-12/schema"

# The shape of the entries of each table.
ENTRIES: dict[str, type[Shape]] = {
    "site": SiteShape,
    "subnet": SubnetShape,
    "router": RouterShape,
    "translation": TranslationShape,
    "conversation": ConversationShape,
    "station": StationShape,
    "survey": SurveyShape,
    "accepted": AcceptedShape,
    "remark": RemarkShape,
    "granted": GrantedShape,
    "island": IslandShape,
    "scheme": SchemeShape,
}

# The description of each key whose name does not explain it.
WORDS = {
    "accepted": "Findings that the site has agreed to live with.",
    "address": "An address, such as 10.62.20.61, or dhcp; a station's with its prefix length, such as 10.62.20.245/24.",
    "because": "Why the site accepts the finding.",
    "behind": "In a daisy chain, the port (device/interface:port) through which this interface is connected.",
    "by": "Who decided, of the site.",
    "change-to": "The value that the site asks for.",
    "columns": "The title of each value's column in the survey file, if netcheck does not recognise it.",
    "contact": "Who sends the plan and answers questions about it: name, company, telephone.",
    "conversation": "Two interfaces that must be able to communicate, in both directions.",
    "conversations": "A CSV file in the plan's folder with a row for each conversation.",
    "covers": "The prefixes in which the survey lists every host.",
    "crowded": "The share of used addresses from which a subnet is a risk.",
    "device": "A controller, operator panel, drive, remote I/O, switch or server, with its interfaces.",
    "decided": "The day on which the site decided.",
    "decision": "What the site decided: question, change it to, or use the proposal.",
    "description": "What it is, in the words of the plan's author.",
    "domain": "The DNS domain of host names without a dot, such as plant.example.",
    "file": "A survey file in the plan's folder.",
    "format": "The format of this file.",
    "from": "An interface, as device/interface.",
    "gateway": "The gateway's address: a subnet's, or the one typed into the device.",
    "granted": "Who of the site reserved this address for the interface; as a table, another granted request.",
    "host-name": "The device's host name.",
    "island": "The routing domain; addresses may repeat between islands, not within one.",
    "keep-clear": "The least distance, in addresses, from every site host.",
    "inside": "An inside address, or a prefix such as 192.168.10.0/24 whose packets get the outside address as source.",
    "kind": "The kind of device, or of survey file.",
    "mac": "The MAC address on the nameplate, such as 00-00-5E-00-53-21.",
    "mask": "The mask typed into the device, such as 255.255.255.0 or /24.",
    "place": "Where the device stands, such as panel 3.",
    "pools": "Ranges that DHCP assigns, such as 10.62.20.200-10.62.20.239.",
    "ports": "The labels of the interface's connectors.",
    "prefix": "The subnet's prefix, such as 10.62.20.0/24.",
    "remark": "A remark for readers of the plan, or what the site wrote about a finding.",
    "reply": "The integrator's reply to a remark of the site.",
    "range": "The addresses of the scheme: .100-.149 for last octets, or 10.62.20.100-10.62.20.149.",
    "reserved": "Ranges that the site keeps for itself.",
    "revision": "The plan's revision.",
    "router": "A router, by its interfaces and static routes.",
    "routes": 'Static routes, such as { to = "0.0.0.0/0", via = "10.62.30.254" }.',
    "rule": "The rule's name, as `netcheck rules` lists it.",
    "scheme": "A range of addresses for a kind of device, a place or names; netcheck suggest follows it.",
    "services": "Transport protocols and ports, such as tcp 502.",
    "slot": "The slot that the module sits in.",
    "starts": "Which side opens connections: from, to or both.",
    "station": "The technician's computer, with the address it uses for proving.",
    "subject": "What the finding is about: device/interface, a subnet, a router, a station or a survey file.",
    "subnets": "A CSV file in the plan's folder with a row for each subnet.",
    "survey": "A dated list of the hosts that are already on the site.",
    "survey-max-age": "The number of days after which a survey is too old.",
    "switch-port": "The switch port that the interface is connected to.",
    "taken": "The day on which the survey was taken.",
    "ticket": "The ticket under which the site granted the request.",
    "to": "An interface, as device/interface; a route's destination prefix.",
    "until": "The last day on which the finding is accepted.",
    "via": "The address of the next router.",
    "vlan": "The VLAN ID, from 1 to 4094.",
    "what": "What was requested, as in the file of requests.",
    "why": "What the conversation is for.",
    "with": "The other party of the finding.",
}


def plan_schema(rules: Sequence[str] = (), survey_kinds: Sequence[str] = ()) -> dict[str, Any]:
    """Return the schema (JSON Schema 2020-12) as plain values for `json.dumps`.

    `rules` and `survey_kinds` are the names that an editor offers for these keys. The schema is stricter than the
    reader, which reports an unknown rule or VLAN ID as a finding.
    """
    device = _with_entries("Device", DeviceShape, {"interface": InterfaceShape})
    plan = _with_entries("Plan", PlanShape, {**ENTRIES, "device": device})
    schema = _plain(plan.model_json_schema(mode="validation"))
    schema["properties"]["format"]["const"] = FORMAT
    entries = {
        key: schema["$defs"][shape.__name__.removesuffix("Shape")]["properties"] for key, shape in ENTRIES.items()
    }
    vlan = entries["subnet"]["vlan"]
    for key in ("exclusiveMinimum", "exclusiveMaximum"):
        vlan.pop(key, None)
    vlan |= {"minimum": VLAN_IDS[0], "maximum": VLAN_IDS[1]}
    entries["conversation"]["starts"] |= {"enum": ["", "from", "to", "both"]}
    if rules:
        entries["accepted"]["rule"] |= {"enum": list(rules)}
    if survey_kinds:
        entries["survey"]["kind"] |= {"enum": ["", *survey_kinds]}
    return {"$schema": DIALECT, "title": "netcheck plan", **schema, "description": "A plan: plan.toml."}


def _with_entries(name: str, shape: type[Shape], entries: dict[str, type[Shape]]) -> type[Shape]:
    """Return a shape that includes the shapes of its tables, which the reader validates separately."""
    fields: dict[str, Any] = {
        key: (entry, ...) if shape.model_fields[key].is_required() else (list[entry], [])  # type: ignore[valid-type]
        for key, entry in entries.items()
    }
    return create_model(name, __base__=shape, __doc__=f"`[[{name.lower()}]]`.", **fields)


def _plain(node: Any) -> Any:
    """Return a node of the schema with descriptions, and without pydantic's titles and `Shape` in names.

    Null is left out, because TOML does not have it.
    """
    if isinstance(node, list):
        return [_plain(each) for each in node]
    if not isinstance(node, dict):
        return node.replace("Shape", "") if isinstance(node, str) and node.startswith("#/$defs/") else node
    kept = {key.removesuffix("Shape"): _plain(value) for key, value in node.items() if key != "title"}
    for key, value in kept.get("properties", {}).items():
        if isinstance(value, dict) and key in WORDS:
            value["description"] = WORDS[key]
    return _joined(kept) if "anyOf" in kept else kept


def _joined(node: dict[str, Any]) -> dict[str, Any]:
    """Return a choice of types without null; as one list if each is a plain type."""
    choices = [choice for choice in node["anyOf"] if choice != {"type": "null"}]
    rest = {key: value for key, value in node.items() if key != "anyOf" and (key, value) != ("default", None)}
    if len(choices) == 1:
        return {**choices[0], **rest}
    if all(set(choice) == {"type"} for choice in choices):
        return {"type": [choice["type"] for choice in choices], **rest}
    return {"anyOf": choices, **rest}
