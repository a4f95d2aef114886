"""The plan as one frozen value; every planned value remembers the text it was read from and its place.

What a plan holds by the hundred thousand is a named tuple: it is made in a third of the time of a frozen dataclass.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Generic, NamedTuple, TypeVar

from netcheck.addr import Address, InterfaceAddress, Mac, Mask, Prefix, Range

T = TypeVar("T")
SITE = "site"  # the default island


class Position(NamedTuple):
    """Where a value stands: the file's name beside the plan, and the row or key in it."""

    file: str
    at: str = ""

    def __str__(self) -> str:
        return f"{self.file}: {self.at}" if self.at else self.file


class Cell(NamedTuple, Generic[T]):
    """A typed value with its text and place. `value` is None where the text cannot be read, and `why` then says so."""

    text: str
    value: T | None
    position: Position
    why: str = ""


@dataclass(frozen=True, slots=True)
class Subnet:
    """An IP prefix with its gateway, VLAN, pools and reserved ranges."""

    name: str
    prefix: Cell[Prefix]
    position: Position
    gateway: Cell[Address] | None = None
    vlan: int | None = None
    island: str = SITE
    pools: tuple[Cell[Range], ...] = ()
    reserved: tuple[Cell[Range], ...] = ()


class Interface(NamedTuple):
    """What carries one MAC and one address. `subject` is `device/interface`; a port's is `device/interface:port`."""

    device: str
    name: str
    subnet: str  # a subnet's name; the reader has made sure that it exists
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
    behind: str = ""  # `device/interface:port` that this one hangs behind, or empty
    granted: str = ""  # by whom this address is reserved for it, or empty
    address6: Cell[Address] | None = None  # a second address, of IPv6, beside an IPv4 one
    mask6: Cell[Mask] | None = None
    gateway6: Cell[Address] | None = None
    subnet6: str = ""  # the subnet of address6; where empty, the one of the island that holds it

    @property
    def subject(self) -> str:
        """`device/interface`."""
        return f"{self.device}/{self.name}"


@dataclass(frozen=True, slots=True)
class Route:
    """A router's static route."""

    to: Cell[Prefix]
    via: Cell[Address]


@dataclass(frozen=True, slots=True)
class Router:
    """A router by its interfaces and static routes."""

    name: str
    interfaces: tuple[Cell[InterfaceAddress], ...]
    position: Position
    routes: tuple[Route, ...] = ()
    island: str = SITE


@dataclass(frozen=True, slots=True)
class Translation:
    """An address by which a translating router lets one inside address of an island be reached from outside it."""

    outside: Cell[Address]
    inside: Cell[Address]
    island: str  # the inside address's
    at: str  # the router's name
    position: Position

    @property
    def subject(self) -> str:
        """`router/outside address`: the outside address is one that the router answers for."""
        return f"{self.at}/{self.outside.value or self.outside.text}"


@dataclass(frozen=True, slots=True)
class Conversation:
    """Two interfaces (by subject) that must be able to talk, both ways."""

    source: str
    target: str
    position: Position
    why: str = ""


@dataclass(frozen=True, slots=True)
class Station:
    """The technician's computer and the address it uses for proving."""

    name: str
    address: Cell[InterfaceAddress]
    position: Position
    island: str = SITE


@dataclass(frozen=True, slots=True)
class SurveyEntry:
    """The plan's word on one survey file: when it was taken and what it covers. Reading the file is survey's work."""

    file: str  # as written in the plan, relative to the plan's folder
    position: Position
    taken: date | None = None
    covers: tuple[Cell[Prefix], ...] = ()
    kind: str = ""
    columns: tuple[tuple[str, str], ...] = ()  # (our name, header in the file)
    island: str = SITE


@dataclass(frozen=True, slots=True)
class Accepted:
    """A finding the site has agreed to live with."""

    rule: str
    subject: str
    by: str
    because: str
    position: Position
    until: date | None = None
    address: str = ""
    other: str = ""  # TOML key `with`: the other party


@dataclass(frozen=True, kw_only=True)
class Plan:
    """One plan. `sha256` is over all its files, surveys included, in the order they are named."""

    name: str  # the site's name
    slug: str  # the plan folder's (or workbook's) name, for default file names
    folder: str  # where relative files are looked up
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
    translations: tuple[Translation, ...] = ()
    domain: str = ""  # DNS domain of bare host names, or empty
    position: Position = field(default=Position("plan.toml"))

    @cached_property
    def subnet_named(self) -> dict[str, Subnet]:
        """Subnets by name."""
        return {subnet.name: subnet for subnet in self.subnets}

    @cached_property
    def interface_named(self) -> dict[str, Interface]:
        """Interfaces by subject."""
        return {interface.subject: interface for interface in self.interfaces}

    @cached_property
    def router_named(self) -> dict[str, Router]:
        """Routers by name."""
        return {router.name: router for router in self.routers}

    def outer_island(self, translation: Translation) -> str:
        """The island that an outside address belongs to: the router's, or the site's where that is the inside one."""
        router = self.router_named.get(translation.at)
        return router.island if router and router.island != translation.island else SITE

    def subnet_of(self, interface: Interface) -> Subnet:
        """The subnet that an interface names."""
        return self.subnet_named[interface.subnet]

    def island_of(self, interface: Interface) -> str:
        """The island of an interface's subnet."""
        return self.subnet_of(interface).island
