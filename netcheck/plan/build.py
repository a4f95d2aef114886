"""Makes the plan's model out of its tables; everything in them that does not fit is said, not the first thing only."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TypeVar

from netcheck.addr import Address, InterfaceAddress, Mac, Mask, Prefix, Range
from netcheck.errors import Problem
from netcheck.plan.cells import address6_from, cell_from, cells_from, gateway6_from, gateway_from, maybe_from
from netcheck.plan.entries import Entry, Grid, Tables
from netcheck.plan.forms.interface_grid import interfaces_of
from netcheck.plan.model import (
    SITE,
    Accepted,
    Conversation,
    Interface,
    Position,
    Route,
    Router,
    Station,
    Subnet,
    SurveyEntry,
    Translation,
)
from netcheck.plan.shapes import (
    AcceptedShape,
    ConversationShape,
    DeviceShape,
    InterfaceRow,
    InterfaceShape,
    RouterShape,
    Shape,
    SiteShape,
    StationShape,
    SubnetShape,
    SurveyShape,
    TranslationShape,
)
from netcheck.text import safe

S = TypeVar("S", bound=Shape)


@dataclass(frozen=True, slots=True)
class Parts:
    """The model's values, made of every entry that fits its shape."""

    site: SiteShape | None
    subnets: tuple[Subnet, ...]
    interfaces: tuple[Interface, ...]
    routers: tuple[Router, ...]
    conversations: tuple[Conversation, ...]
    stations: tuple[Station, ...]
    surveys: tuple[SurveyEntry, ...]
    accepted: tuple[Accepted, ...]
    translations: tuple[Translation, ...]


def build(tables: Tables, problems: list[Problem]) -> Parts:
    """Build all parts; what does not fit is added to `problems`."""

    def fitted(entries: Iterable[Entry], shape: type[S]) -> Iterator[tuple[S, Position]]:
        for entry in entries:
            if (one := entry.fitted(shape, problems)) is not None:
                yield one, entry.position

    subnets = tuple(_subnet(*one) for one in fitted(tables.subnets, SubnetShape))
    families = {subnet.name: subnet.prefix.value.family for subnet in subnets if subnet.prefix.value}
    rows = (
        interfaces_of(tables.interfaces, families)
        if isinstance(tables.interfaces, Grid)
        else (
            _interface(row.device, row.kind, row.place, row, position, families)
            for row, position in fitted(tables.interfaces, InterfaceRow)
        )
    )
    return Parts(
        tables.site.fitted(SiteShape, problems),
        subnets,
        (*_of_devices(tables.devices, families, problems), *rows),
        tuple(_router(*one) for one in fitted(tables.routers, RouterShape)),
        tuple(
            Conversation(one.from_, one.to, position, one.why)
            for one, position in fitted(tables.conversations, ConversationShape)
        ),
        tuple(_station(*one) for one in fitted(tables.stations, StationShape)),
        tuple(_survey(*one) for one in fitted(tables.surveys, SurveyShape)),
        tuple(_accepted(*one) for one in fitted(tables.accepted, AcceptedShape)),
        tuple(_translation(*one) for one in fitted(tables.translations, TranslationShape)),
    )


def _of_devices(entries: Iterable[Entry], families: dict[str, int], problems: list[Problem]) -> Iterator[Interface]:
    for entry in entries:
        device = entry.fitted(DeviceShape, problems)
        for inner in interfaces_in(entry):
            interface = inner.fitted(InterfaceShape, problems)
            if device is not None and interface is not None:
                yield _interface(device.name, device.kind, device.place, interface, inner.position, families)


def interfaces_in(device: Entry) -> Iterator[Entry]:
    """The interfaces of a `[[device]]`, each with its place: `device pasteuriser-plc, interface cpu`."""
    listing = device.data.get("interface")
    for number, table in enumerate(listing if isinstance(listing, list) else (), 1):
        if isinstance(table, dict):
            name = Entry(table, device.position).text("name")
            at = f"{device.position.at}, interface {safe(name, 80) or number}"
            yield Entry(table, Position(device.position.file, at), device.typed)


def _subnet(shape: SubnetShape, position: Position) -> Subnet:
    return Subnet(
        shape.name,
        cell_from(shape.prefix, Prefix.from_text, position),
        position,
        maybe_from(shape.gateway, gateway_from, position),
        shape.vlan,
        shape.island or SITE,
        cells_from(shape.pools, Range.from_text, position),
        cells_from(shape.reserved, Range.from_text, position),
    )


def _interface(
    device: str, kind: str, location: str, shape: InterfaceShape, position: Position, families: dict[str, int]
) -> Interface:
    address = maybe_from(shape.address, Address.from_text, position)
    family = address.value.family if address and address.value else families.get(shape.subnet, 4)
    return Interface(
        device,
        shape.name,
        shape.subnet,
        position,
        kind,
        location,
        shape.slot,
        address,
        maybe_from(shape.mask, lambda text: Mask.from_text(text, family), position),
        maybe_from(shape.gateway, gateway_from, position),
        maybe_from(shape.mac, Mac.from_text, position),
        maybe_from(shape.host_name, str, position),
        maybe_from(shape.switch_port, str, position),
        tuple(shape.ports),
        shape.behind,
        shape.granted,
        maybe_from(shape.address6, address6_from, position),
        maybe_from(shape.mask6, lambda text: Mask.from_text(text, 6), position),
        maybe_from(shape.gateway6, gateway6_from, position),
        shape.subnet6,
    )


def _translation(shape: TranslationShape, position: Position) -> Translation:
    outside, inside = (cell_from(text, Address.from_text, position) for text in (shape.outside, shape.inside))
    return Translation(outside, inside, shape.island, shape.at, position)


def _router(shape: RouterShape, position: Position) -> Router:
    routes = (
        Route(cell_from(one.to, Prefix.from_text, position), cell_from(one.via, Address.from_text, position))
        for one in shape.routes
    )
    interfaces = cells_from(shape.interfaces, InterfaceAddress.from_text, position)
    return Router(shape.name, interfaces, position, tuple(routes), shape.island or SITE)


def _station(shape: StationShape, position: Position) -> Station:
    return Station(
        shape.name, cell_from(shape.address, InterfaceAddress.from_text, position), position, shape.island or SITE
    )


def _survey(shape: SurveyShape, position: Position) -> SurveyEntry:
    titles = tuple((name, title) for name, title in shape.columns if title)
    covers = cells_from(shape.covers, Prefix.from_text, position)
    return SurveyEntry(shape.file, position, shape.taken, covers, shape.kind, titles, shape.island or SITE)


def _accepted(shape: AcceptedShape, position: Position) -> Accepted:
    return Accepted(
        shape.rule, shape.subject, shape.by, shape.because, position, shape.until, shape.address, shape.with_
    )
