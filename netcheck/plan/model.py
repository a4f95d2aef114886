"""The model of a plan: frozen values that keep the text that they were read from and its position.

The values are named tuples: making one takes a third of the time of a frozen dataclass, and defining the class a fifth.
A plan may have a hundred thousand interfaces.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Any, Generic, NamedTuple, TypeVar

from netcheck.addr import Address, InterfaceAddress, Mac, Mask, Prefix, Range

T = TypeVar("T")
SITE = "site"  # the default island
DIGITS = 16  # hexadecimal digits of a row's SHA-256: enough against chance; the record has the plan's full SHA-256 too


class Position(NamedTuple):
    """The position of a value in the plan's files: the file's name, the row or entry in it, and the line in TOML."""

    file: str
    at: str = ""
    line: int = 0

    def __str__(self) -> str:
        file = f"{self.file} line {self.line}" if self.line else self.file
        return f"{file}: {self.at}" if self.at else file


class Cell(NamedTuple, Generic[T]):
    """A value with its text and position.

    If the text cannot be read, `value` is None and `why` gives the reason.
    """

    text: str
    value: T | None
    position: Position
    why: str = ""


class Subnet(NamedTuple):
    """An IP prefix with its gateway, VLAN, DHCP pools and reserved ranges."""

    name: str
    prefix: Cell[Prefix]
    position: Position
    gateway: Cell[Address] | None = None
    vlan: int | None = None
    island: str = SITE
    pools: tuple[Cell[Range], ...] = ()
    reserved: tuple[Cell[Range], ...] = ()
    description: str = ""
    remark: str = ""


class Interface(NamedTuple):
    """A network interface of a device, with one MAC and one address.

    Its subject is `device/interface`, the subject of a connector `device/interface:port`.
    """

    device: str
    name: str
    subnet: str  # the name of a subnet that exists
    position: Position
    kind: str = ""
    location: str = ""  # where the device stands on the plant (key `place`), such as `panel 3`
    slot: str = ""
    address: Cell[Address] | None = None
    mask: Cell[Mask] | None = None
    gateway: Cell[Address] | None = None
    mac: Cell[Mac] | None = None
    host_name: Cell[str] | None = None
    switch_port: Cell[str] | None = None
    ports: tuple[str, ...] = ("1",)
    behind: str = ""  # the `device/interface:port` that it is connected through, or empty
    granted: str = ""  # who of the site reserved this address for it, or empty
    address6: Cell[Address] | None = None  # the IPv6 address of a dual-stack interface
    mask6: Cell[Mask] | None = None
    gateway6: Cell[Address] | None = None
    subnet6: str = ""  # the subnet of address6; if empty, the subnet of the island that contains it
    dhcp: bool = False  # a DHCP server assigns the address by a reservation
    description: str = ""
    remark: str = ""
    extra: tuple[tuple[str, str], ...] = ()  # (title, text) of further columns of the table
    damaged: tuple[tuple[str, Cell[str]], ...] = ()  # (title, cell) of labels that a spreadsheet has changed

    @property
    def subject(self) -> str:
        """The name `device/interface`."""
        return f"{self.device}/{self.name}"


class Route(NamedTuple):
    """A static route of a router."""

    to: Cell[Prefix]
    via: Cell[Address]


class Router(NamedTuple):
    """A router with its interfaces and static routes."""

    name: str
    interfaces: tuple[Cell[InterfaceAddress], ...]
    position: Position
    routes: tuple[Route, ...] = ()
    island: str = SITE


class Translation(NamedTuple):
    """An outside address by which a translating router makes an inside address of an island reachable.

    If `sources` is set, the router puts the outside address as source into all packets from that inside prefix;
    `inside` then has only the text.
    """

    outside: Cell[Address]
    inside: Cell[Address]
    island: str  # the island of the inside address
    at: str  # the name of the router
    position: Position
    sources: Cell[Prefix] | None = None

    @property
    def subject(self) -> str:
        """The name `router/outside address`; the router answers requests for that address."""
        return f"{self.at}/{self.outside.value or self.outside.text}"


class Conversation(NamedTuple):
    """Two interfaces, by subject, that must be able to communicate in both directions."""

    source: str
    target: str
    position: Position
    why: str = ""
    services: tuple[str, ...] = ()  # such as `tcp 502`
    starts: str = ""  # which side opens connections: `from`, `to` or `both`; empty if not stated


class LastOctets(NamedTuple):
    """A range of last octets, such as `.100-.149`: these addresses in every /24 block of a subnet."""

    low: int
    high: int

    def __str__(self) -> str:
        return f".{self.low}-.{self.high}"


class Scheme(NamedTuple):
    """A range of addresses for the interfaces that match all criteria that are given; a criterion may contain `*`."""

    range: Cell[Range | LastOctets]
    position: Position
    subnet: str = ""  # the name of a subnet that exists, or empty for all
    kind: str = ""
    location: str = ""
    name: str = ""  # the device, or device/interface

    @property
    def subject(self) -> str:
        """The name in findings: `scheme` and its range."""
        return f"scheme {self.range.text}"


class Station(NamedTuple):
    """The technician's computer and the address that it uses for proving."""

    name: str
    address: Cell[InterfaceAddress]
    position: Position
    island: str = SITE


class SurveyEntry(NamedTuple):
    """The plan's entry for a survey file: its name, its date and the prefixes that it covers."""

    file: str  # as written in the plan, relative to the plan's folder
    position: Position
    taken: date | None = None
    covers: tuple[Cell[Prefix], ...] = ()
    kind: str = ""
    columns: tuple[tuple[str, str], ...] = ()  # (field, title in the file)
    island: str = SITE


class Accepted(NamedTuple):
    """A finding that the site has accepted."""

    rule: str
    subject: str
    by: str
    because: str
    position: Position
    until: date | None = None
    address: str = ""
    other: str = ""  # TOML key `with`: the other party
    decided: date | None = None  # the day of the decision


class SiteRemark(NamedTuple):
    """A remark of the site about a finding, such as a question or a wanted change, with the integrator's reply."""

    rule: str
    subject: str
    decision: str  # `question`, `change it to` or `use the proposal`
    position: Position
    by: str = ""
    remark: str = ""
    change_to: str = ""  # the value that the site asks for, or empty
    address: str = ""
    other: str = ""  # TOML key `with`: the other party of the finding
    decided: date | None = None
    reply: str = ""


class GrantedRequest(NamedTuple):
    """A request that the site granted; the grant of an interface's address is in the interface's row instead."""

    kind: str
    subject: str
    by: str
    position: Position
    island: str = SITE
    address: str = ""
    what: str = ""
    ticket: str = ""
    decided: date | None = None


@dataclass(frozen=True, kw_only=True)
class Plan:
    """A plan; `sha256` is the hash of all its `files`, surveys included, concatenated in their order."""

    name: str  # the site's name
    slug: str  # the plan folder's (or workbook's) name, for default file names
    folder: str  # file names in the plan are relative to it
    sha256: str
    revision: str = ""
    keep_clear: int = 0
    survey_max_age: int = 30
    crowded: float = 0.8
    subnets: tuple[Subnet, ...] = ()
    interfaces: tuple[Interface, ...] = ()
    routers: tuple[Router, ...] = ()
    conversations: tuple[Conversation, ...] = ()
    stations: tuple[Station, ...] = ()
    surveys: tuple[SurveyEntry, ...] = ()
    accepted: tuple[Accepted, ...] = ()
    remarks: tuple[SiteRemark, ...] = ()
    granted: tuple[GrantedRequest, ...] = ()
    translations: tuple[Translation, ...] = ()
    schemes: tuple[Scheme, ...] = ()
    own_islands: frozenset[str] = frozenset()  # islands that belong to a machine: `site = false`
    site_islands: frozenset[str] = frozenset()  # islands that belong to the site although translated: `site = true`
    contact: str = ""  # who sends the plan and answers questions about it, or empty
    domain: str = ""  # the DNS domain of host names without a dot, or empty
    position: Position = field(default=Position("plan.toml"))
    files: tuple[str, ...] = ()  # names relative to the plan's folder, in the order of the hash
    other_sheets: tuple[str, ...] = ()  # sheets of the workbook that are not part of the plan

    @cached_property
    def subnet_named(self) -> dict[str, Subnet]:
        """The subnets by name."""
        return {subnet.name: subnet for subnet in self.subnets}

    @cached_property
    def interface_named(self) -> dict[str, Interface]:
        """The interfaces by subject."""
        return {interface.subject: interface for interface in self.interfaces}

    @cached_property
    def router_named(self) -> dict[str, Router]:
        """The routers by name."""
        return {router.name: router for router in self.routers}

    def outer_island(self, translation: Translation) -> str:
        """Return the island of an outside address: the router's island, or `site` if that is the inside island."""
        router = self.router_named.get(translation.at)
        return router.island if router and router.island != translation.island else SITE

    @cached_property
    def islands_without_it(self) -> frozenset[str]:
        """The islands whose addresses the site's IT does not manage: those marked, and those behind a translation."""
        translated = {translation.island for translation in self.translations} - {SITE}
        return self.own_islands | (translated - self.site_islands)

    def subnet_of(self, interface: Interface) -> Subnet:
        """Return the subnet that an interface names."""
        return self.subnet_named[interface.subnet]

    def island_of(self, interface: Interface) -> str:
        """Return the island of an interface's subnet."""
        return self.subnet_of(interface).island


def row_hashes(plan: Plan) -> dict[str, str]:
    """Return the hash of every interface's row by its subject (`device/interface`).

    A row consists of the columns of `interfaces.csv` and `behind`. The hash is of values, not of their notation: a MAC
    has the same hash with colons and with hyphens. `granted` is left out, because it is a decision of the site and not
    a setting of the device.
    """
    return {interface.subject: _hash(interface) for interface in plan.interfaces}


def _hash(interface: Interface) -> str:
    cells = (
        interface.address,
        interface.mask,
        interface.gateway,
        interface.mac,
        interface.host_name,
        interface.switch_port,
    )
    texts = (
        *(interface.device, interface.kind, interface.location, interface.name, interface.slot, interface.subnet),
        *(_text(cell) for cell in cells),
        interface.behind,
        *interface.ports,
        *_second(interface),
    )
    return hashlib.sha256("\0".join(texts).encode("utf-8", "surrogatepass")).hexdigest()[:DIGITS]


def _second(interface: Interface) -> tuple[str, ...]:
    """Return the values of the second address of a dual-stack interface; an empty tuple for any other interface.

    The hash of an interface without a second address thus stays the same as in older records.
    """
    cells = (interface.address6, interface.mask6, interface.gateway6)
    texts = (*(_text(cell) for cell in cells), interface.subnet6)
    return texts if any(texts) else ()


def _text(cell: Cell[Any] | None) -> str:
    if cell is None:
        return ""
    return cell.text if cell.value is None else str(cell.value)
