"""Makes the plan's model out of its tables; everything in them that does not fit is said, not the first thing only."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import TypeVar

from netcheck.addr import Address, InterfaceAddress, Mac, Mask, Prefix, Range
from netcheck.errors import Problem
from netcheck.plan.entries import Entry, Tables
from netcheck.plan.model import (
    SITE,
    Accepted,
    Cell,
    Conversation,
    Interface,
    Place,
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

T = TypeVar("T")
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

    def fitted(entries: Iterable[Entry], shape: type[S]) -> Iterator[tuple[S, Place]]:
        for entry in entries:
            if (one := entry.fitted(shape, problems)) is not None:
                yield one, entry.place

    subnets = tuple(_subnet(*one) for one in fitted(tables.subnets, SubnetShape))
    families = {subnet.name: subnet.prefix.value.family for subnet in subnets if subnet.prefix.value}
    rows = (
        _interface(row.device, row.kind, row.place, row, place, families)
        for row, place in fitted(tables.interfaces, InterfaceRow)
    )
    return Parts(
        tables.site.fitted(SiteShape, problems),
        subnets,
        (*_of_devices(tables.devices, families, problems), *rows),
        tuple(_router(*one) for one in fitted(tables.routers, RouterShape)),
        tuple(
            Conversation(one.from_, one.to, place, one.why)
            for one, place in fitted(tables.conversations, ConversationShape)
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
                yield _interface(device.name, device.kind, device.place, interface, inner.place, families)


def interfaces_in(device: Entry) -> Iterator[Entry]:
    """The interfaces of a `[[device]]`, each with its place: `device pasteuriser-plc, interface cpu`."""
    listing = device.data.get("interface")
    for number, table in enumerate(listing if isinstance(listing, list) else (), 1):
        if isinstance(table, dict):
            name = Entry(table, device.place).text("name")
            at = f"{device.place.at}, interface {safe(name, 80) or number}"
            yield Entry(table, Place(device.place.file, at), device.typed)


def _cell(text: str, read: Callable[[str], T], place: Place) -> Cell[T]:
    text = text.strip()
    try:
        return Cell(text, read(text), place)
    except ValueError as error:
        return Cell(text, None, place, str(error))


def _maybe(text: str, read: Callable[[str], T], place: Place) -> Cell[T] | None:
    """An empty value is a missing one."""
    return _cell(text, read, place) if text.strip() else None


def _cells(texts: Iterable[str], read: Callable[[str], T], place: Place) -> tuple[Cell[T], ...]:
    return tuple(_cell(text, read, place) for text in texts)


def _subnet(shape: SubnetShape, place: Place) -> Subnet:
    return Subnet(
        shape.name,
        _cell(shape.prefix, Prefix.from_text, place),
        place,
        _maybe(shape.gateway, _gateway, place),
        shape.vlan,
        shape.island or SITE,
        _cells(shape.pools, Range.from_text, place),
        _cells(shape.reserved, Range.from_text, place),
    )


def _interface(
    device: str, kind: str, where: str, shape: InterfaceShape, place: Place, families: dict[str, int]
) -> Interface:
    address = _maybe(shape.address, Address.from_text, place)
    family = address.value.family if address and address.value else families.get(shape.subnet, 4)
    return Interface(
        device,
        shape.name,
        shape.subnet,
        place,
        kind,
        where,
        shape.slot,
        address,
        _maybe(shape.mask, lambda text: Mask.from_text(text, family), place),
        _maybe(shape.gateway, _gateway, place),
        _maybe(shape.mac, Mac.from_text, place),
        _maybe(shape.host_name, str, place),
        _maybe(shape.switch_port, str, place),
        tuple(shape.ports),
        shape.behind,
        shape.granted,
        _maybe(shape.address6, _address6, place),
        _maybe(shape.mask6, lambda text: Mask.from_text(text, 6), place),
        _maybe(shape.gateway6, _gateway6, place),
        shape.subnet6,
    )


# On-link on every interface, and told apart by its zone: RFC 4291 section 2.5.6, RFC 4007 sections 6 and 11.
_LINK_LOCAL = Prefix.from_text("fe80::/10")
_ZONE = re.compile(r"[0-9A-Za-z._~/:-]{1,64}", re.ASCII)


def _gateway(text: str) -> Address:
    """A gateway's address; a link-local one may name the zone it is in, which is the device's own affair."""
    head, percent, zone = text.partition("%")
    address = Address.from_text(head if percent and _ZONE.fullmatch(zone) else text)
    if percent and not _LINK_LOCAL.holds(address):
        raise ValueError(f"{address} is not link-local, so it can name no zone; write the address alone")
    return address


def _address6(text: str) -> Address:
    return _of_ipv6(Address.from_text(text))


def _gateway6(text: str) -> Address:
    return _of_ipv6(_gateway(text))


def _of_ipv6(address: Address) -> Address:
    if address.family != 6:
        raise ValueError(f"{address} is an IPv4 address; IPv6 is expected here")
    return address


def _translation(shape: TranslationShape, place: Place) -> Translation:
    outside, inside = (_cell(text, Address.from_text, place) for text in (shape.outside, shape.inside))
    return Translation(outside, inside, shape.island, shape.at, place)


def _router(shape: RouterShape, place: Place) -> Router:
    routes = (
        Route(_cell(one.to, Prefix.from_text, place), _cell(one.via, Address.from_text, place)) for one in shape.routes
    )
    interfaces = _cells(shape.interfaces, InterfaceAddress.from_text, place)
    return Router(shape.name, interfaces, place, tuple(routes), shape.island or SITE)


def _station(shape: StationShape, place: Place) -> Station:
    return Station(shape.name, _cell(shape.address, InterfaceAddress.from_text, place), place, shape.island or SITE)


def _survey(shape: SurveyShape, place: Place) -> SurveyEntry:
    titles = tuple((name, title) for name, title in shape.columns if title)
    covers = _cells(shape.covers, Prefix.from_text, place)
    return SurveyEntry(shape.file, place, shape.taken, covers, shape.kind, titles, shape.island or SITE)


def _accepted(shape: AcceptedShape, place: Place) -> Accepted:
    return Accepted(shape.rule, shape.subject, shape.by, shape.because, place, shape.until, shape.address, shape.with_)
