"""The shapes of the plan's tables; pydantic reports every value of a table that does not fit its shape.

Keys are written with hyphens. Addresses, masks, MACs, prefixes and ranges are plain text here, because an unreadable
one does not stop a check. This module has no `from __future__ import annotations`: pydantic needs the values of the
annotations, and compiling their texts would take time.
"""

import re
from datetime import date, datetime
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from netcheck.text import Pattern

FORMAT = 1
_DAY = Pattern(r"\d{4}-\d\d-\d\d", re.ASCII)
_NUMBER_LIMIT = 10**9  # a larger number is a mistake; it is rejected before it has to be printed


def hyphened(name: str) -> str:
    """Return the key of a field in files: its name with hyphens."""
    return name.rstrip("_").replace("_", "-")


def as_label(value: object) -> object:
    """Return a whole number as text, because slots and ports are often written as bare numbers."""
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) < _NUMBER_LIMIT:
        return str(value)
    return value


def _day(value: object) -> object:
    """Return the date of a date and time, or of a date in quotes."""
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, str) and _DAY.fullmatch(value):
        try:
            return date.fromisoformat(value)
        except ValueError:
            return value
    return value


Name = Annotated[str, BeforeValidator(as_label, json_schema_input_type=str | int), Field(min_length=1)]
Label = Annotated[str, BeforeValidator(as_label, json_schema_input_type=str | int)]
Day = Annotated[date, BeforeValidator(_day), Field(strict=True)]
Count = Annotated[int, Field(ge=0, lt=_NUMBER_LIMIT)]
# Labels of letters, digits and hyphens: RFC 952, RFC 1123 section 2.1, RFC 1035 section 2.3.4.
_LABEL = r"[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?"
Domain = Annotated[str, Field(max_length=253, pattern=rf"^(?:{_LABEL}(?:\.{_LABEL})*\.?)?$")]
Share = Annotated[float, Field(gt=0, le=1, allow_inf_nan=False)]


class Shape(BaseModel):
    """The base of all shapes: keys with hyphens, unknown keys rejected, texts without outer blanks."""

    model_config = ConfigDict(
        alias_generator=hyphened,
        extra="forbid",
        frozen=True,
        str_strip_whitespace=True,
        validate_default=False,
        defer_build=True,  # a plan uses few of the shapes; a validator is built on first use
    )


class SiteShape(Shape):
    """The table `[site]`."""

    name: Name
    revision: Label = ""
    contact: Label = ""
    keep_clear: Count = 0
    survey_max_age: Count = 30
    crowded: Share = 0.8
    domain: Domain = ""


class SubnetShape(Shape):
    """An entry of `[[subnet]]`."""

    name: Name
    prefix: Name
    gateway: str = ""
    vlan: Annotated[int, Field(gt=-_NUMBER_LIMIT, lt=_NUMBER_LIMIT)] | None = None
    island: str = ""
    pools: list[str] = []
    reserved: list[str] = []
    description: Label = ""
    remark: Label = ""


class InterfaceShape(Shape):
    """An entry of `[[device.interface]]`."""

    name: Name
    slot: Label = ""
    subnet: Name
    address: str = ""
    mask: Label = ""
    gateway: str = ""
    mac: str = ""
    host_name: str = ""
    switch_port: Label = ""
    ports: Annotated[list[Name], Field(min_length=1)] = ["1"]
    behind: str = ""
    granted: str = ""
    address6: str = ""
    mask6: Label = ""
    gateway6: str = ""
    subnet6: str = ""
    description: Label = ""
    remark: Label = ""


class InterfaceRow(InterfaceShape):
    """A row of a table of interfaces: the interface's keys and its device's keys."""

    name: Name = Field(alias="interface")
    device: Name
    kind: str = ""
    place: Label = ""


class DeviceShape(Shape):
    """An entry of `[[device]]`; its interfaces are validated separately."""

    name: Name
    kind: str = ""
    place: Label = ""
    description: Label = ""
    remark: Label = ""
    interface: list[dict[str, Any]] = []


class RouteShape(Shape):
    """An item of a router's `routes`."""

    to: Name
    via: Name


class RouterShape(Shape):
    """An entry of `[[router]]`."""

    name: Name
    interfaces: list[Name]
    routes: list[RouteShape] = []
    island: str = ""


class TranslationShape(Shape):
    """An entry of `[[translation]]`."""

    outside: Name
    inside: Name
    island: Name
    at: Name


# A transport protocol of RFC 6335 section 5, alone or with a port or range of ports, such as `tcp 502`.
_PORT = r"(?:6553[0-5]|655[0-2]\d|65[0-4]\d{2}|6[0-4]\d{3}|[1-5]\d{4}|\d{1,4})"  # 16 bits (RFC 9293 section 3.1)
SERVICE = rf"^(?i:tcp|udp|sctp|dccp|icmp)(?:[ /]{_PORT}(?:-{_PORT})?)?$"


class ConversationShape(Shape):
    """An entry of `[[conversation]]`."""

    from_: Name
    to: Name
    why: str = ""
    services: list[Annotated[str, Field(pattern=SERVICE)]] = []
    starts: Annotated[str, Field(pattern=r"^(?:from|to|both)?$")] = ""


class IslandShape(Shape):
    """An entry of `[[island]]`."""

    name: Name
    site: bool = True


class SchemeShape(Shape):
    """An entry of `[[scheme]]`: a range of addresses for interfaces by kind, place or name."""

    range: Name
    subnet: str = ""
    kind: str = ""
    place: Label = ""
    name: str = ""


class StationShape(Shape):
    """An entry of `[[station]]`."""

    name: Name
    address: Name
    island: str = ""


class ColumnsShape(Shape):
    """The key `columns` of a survey: the title in the file for each field."""

    address: Label = ""
    mac: Label = ""
    name: Label = ""
    note: Label = ""
    seen: Label = ""


class SurveyShape(Shape):
    """An entry of `[[survey]]`."""

    file: Name
    taken: Day | None = None
    covers: list[str] = []
    kind: str = ""
    columns: ColumnsShape = ColumnsShape()
    island: str = ""


class AcceptedShape(Shape):
    """An entry of `[[accepted]]`."""

    rule: Name
    subject: Name
    by: Name
    because: Name
    until: Day | None = None
    address: str = ""
    with_: str = ""
    decided: Day | None = None


class RemarkShape(Shape):
    """An entry of `[[remark]]`: a remark of the site about a finding, such as a question, and the reply."""

    rule: Name
    subject: Name
    decision: Annotated[str, Field(pattern="^(?:question|change it to|use the proposal)$")]
    by: Label = ""
    remark: Label = ""
    change_to: Label = ""
    address: str = ""
    with_: str = ""
    decided: Day | None = None
    reply: Label = ""


class GrantedShape(Shape):
    """An entry of `[[granted]]`: a granted request, except one for the address of an interface."""

    kind: Annotated[str, Field(pattern="^(?:reservation|pool change|DNS record|conversation|switch port)$")]
    subject: Name
    by: Name
    island: str = ""
    address: str = ""
    what: str = ""
    ticket: Label = ""
    decided: Day | None = None


class PlanShape(Shape):
    """The top level of `plan.toml`; the entries of its tables are validated separately."""

    format: int
    site: dict[str, Any]
    subnet: list[dict[str, Any]] = []
    device: list[dict[str, Any]] = []
    router: list[dict[str, Any]] = []
    translation: list[dict[str, Any]] = []
    conversation: list[dict[str, Any]] = []
    station: list[dict[str, Any]] = []
    survey: list[dict[str, Any]] = []
    accepted: list[dict[str, Any]] = []
    remark: list[dict[str, Any]] = []
    granted: list[dict[str, Any]] = []
    island: list[dict[str, Any]] = []
    scheme: list[dict[str, Any]] = []
    subnets: Name | None = None
    interfaces: Name | None = None
    conversations: Name | None = None
    translations: Name | None = None
