"""Builds the model from the plan's tables and reports every value that does not fit its shape, not only the first."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple, TypeVar

from netcheck.addr import Range
from netcheck.errors import Problem
from netcheck.plan.cells import (
    address6_from,
    address_cell_from,
    address_from,
    cell_from,
    cells_from,
    gateway6_from,
    gateway_from,
    interface_address_from,
    is_dhcp,
    mac_from,
    mask_from,
    maybe_from,
    prefix_from,
    range_from,
    scheme_range_from,
)
from netcheck.plan.entries import Entry, Grid, Tables
from netcheck.plan.forms.csv_table import interfaces_of
from netcheck.plan.model import (
    SITE,
    Accepted,
    Cell,
    Conversation,
    GrantedRequest,
    Interface,
    Position,
    Route,
    Router,
    Scheme,
    SiteRemark,
    Station,
    Subnet,
    SurveyEntry,
    Translation,
)
from netcheck.plan.shapes import (
    AcceptedShape,
    ConversationShape,
    DeviceShape,
    GrantedShape,
    InterfaceRow,
    InterfaceShape,
    IslandShape,
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
from netcheck.text import safe

S = TypeVar("S", bound=Shape)
D = TypeVar("D", Accepted, SiteRemark, GrantedRequest)


class Parts(NamedTuple):
    """The parts of the model, built from the entries that fit their shapes; `site` is None if its entry does not."""

    site: SiteShape | None
    subnets: tuple[Subnet, ...]
    interfaces: tuple[Interface, ...]
    routers: tuple[Router, ...]
    conversations: tuple[Conversation, ...]
    stations: tuple[Station, ...]
    surveys: tuple[SurveyEntry, ...]
    accepted: tuple[Accepted, ...]
    remarks: tuple[SiteRemark, ...]
    granted: tuple[GrantedRequest, ...]
    translations: tuple[Translation, ...]
    schemes: tuple[Scheme, ...]
    own_islands: frozenset[str]
    site_islands: frozenset[str]


def build(tables: Tables, problems: list[Problem]) -> Parts:
    """Return all parts of the model; every value that does not fit its shape adds a problem to `problems`."""

    def fitted(entries: Iterable[Entry], shape: type[S]) -> Iterator[tuple[S, Position]]:
        for entry in entries:
            if (one := entry.fitted(shape, problems)) is not None:
                yield one, entry.position

    subnets = tuple(_subnet(*one) for one in fitted(tables.subnets, SubnetShape))
    families = {subnet.name: subnet.prefix.value.family for subnet in subnets if subnet.prefix.value}
    islands = [one for one, _ in fitted(tables.islands, IslandShape)]
    rows = (
        interfaces_of(tables.interfaces, families)
        if isinstance(tables.interfaces, Grid)
        else (
            _interface(row, entry, families, device=row.device, kind=row.kind, location=row.place)
            for entry in tables.interfaces
            if (row := entry.fitted(InterfaceRow, problems)) is not None
        )
    )
    return Parts(
        site=tables.site.fitted(SiteShape, problems),
        subnets=subnets,
        interfaces=(*_of_devices(tables.devices, families, problems), *rows),
        routers=tuple(_router(*one) for one in fitted(tables.routers, RouterShape)),
        conversations=tuple(_conversation(*one) for one in fitted(tables.conversations, ConversationShape)),
        stations=tuple(_station(*one) for one in fitted(tables.stations, StationShape)),
        surveys=tuple(_survey(*one) for one in fitted(tables.surveys, SurveyShape)),
        accepted=tuple(_decision(Accepted, *one) for one in fitted(tables.accepted, AcceptedShape)),
        remarks=tuple(_decision(SiteRemark, *one) for one in fitted(tables.remarks, RemarkShape)),
        granted=tuple(_decision(GrantedRequest, *one) for one in fitted(tables.granted, GrantedShape)),
        translations=tuple(_translation(*one) for one in fitted(tables.translations, TranslationShape)),
        schemes=tuple(_scheme(*one) for one in fitted(tables.schemes, SchemeShape)),
        own_islands=frozenset(one.name for one in islands if not one.site),
        site_islands=frozenset(one.name for one in islands if one.site),
    )


def _of_devices(entries: Iterable[Entry], families: dict[str, int], problems: list[Problem]) -> Iterator[Interface]:
    for entry in entries:
        device = entry.fitted(DeviceShape, problems)
        for inner in interfaces_in(entry):
            shape = inner.fitted(InterfaceShape, problems)
            if device is not None and shape is not None:
                one = _interface(shape, inner, families, device=device.name, kind=device.kind, location=device.place)
                description, remark = one.description or device.description, one.remark or device.remark
                yield one._replace(description=description, remark=remark)


def interfaces_in(device: Entry) -> Iterator[Entry]:
    """Yield the interfaces of a `[[device]]` with positions such as `device pasteuriser-plc, interface cpu`."""
    listing = device.data.get("interface")
    for number, table in enumerate(listing if isinstance(listing, list) else (), 1):
        if isinstance(table, dict):
            name = Entry(data=table, position=device.position).text("name")
            at = f"{device.position.at}, interface {safe(name, 80) or number}"
            yield device.inner(table, ("interface", number - 1), at)


def _subnet(shape: SubnetShape, position: Position) -> Subnet:
    prefix = cell_from(shape.prefix, prefix_from, position)

    def read_range(text: str) -> Range:
        return range_from(text, prefix.value)

    return Subnet(
        name=shape.name,
        prefix=prefix,
        position=position,
        gateway=maybe_from(shape.gateway, gateway_from, position),
        vlan=shape.vlan,
        island=shape.island or SITE,
        pools=cells_from(shape.pools, read_range, position),
        reserved=cells_from(shape.reserved, read_range, position),
        description=shape.description,
        remark=shape.remark,
    )


def _interface(
    shape: InterfaceShape, entry: Entry, families: dict[str, int], *, device: str, kind: str, location: str
) -> Interface:
    position = entry.position
    address = address_cell_from(shape.address, position)
    family = address.value.family if address and address.value else families.get(shape.subnet, 4)
    return Interface(
        device=device,
        name=shape.name,
        subnet=shape.subnet,
        position=position,
        kind=kind,
        location=location,
        slot=shape.slot,
        address=address,
        mask=maybe_from(shape.mask, lambda text: mask_from(text, family), position),
        gateway=maybe_from(shape.gateway, gateway_from, position),
        mac=maybe_from(shape.mac, mac_from, position),
        host_name=maybe_from(shape.host_name, str, position),
        switch_port=maybe_from(shape.switch_port, str, position),
        ports=tuple(shape.ports),
        behind=shape.behind,
        granted=shape.granted,
        address6=maybe_from(shape.address6, address6_from, position),
        mask6=maybe_from(shape.mask6, lambda text: mask_from(text, 6), position),
        gateway6=maybe_from(shape.gateway6, gateway6_from, position),
        subnet6=shape.subnet6,
        dhcp=is_dhcp(shape.address),
        description=shape.description,
        remark=shape.remark,
        extra=entry.extra,
        damaged=tuple((title, Cell(text, None, position, why)) for title, text, why in entry.damaged),
    )


def _conversation(shape: ConversationShape, position: Position) -> Conversation:
    services = tuple(" ".join(one.lower().replace("/", " ").split()) for one in shape.services)
    return Conversation(
        source=shape.from_, target=shape.to, position=position, why=shape.why, services=services, starts=shape.starts
    )


def _scheme(shape: SchemeShape, position: Position) -> Scheme:
    return Scheme(
        range=cell_from(shape.range, scheme_range_from, position),
        position=position,
        subnet=shape.subnet,
        kind=shape.kind,
        location=shape.place,
        name=shape.name,
    )


def _translation(shape: TranslationShape, position: Position) -> Translation:
    outside = cell_from(shape.outside, address_from, position)
    several = "/" in shape.inside
    return Translation(
        outside=outside,
        inside=Cell(shape.inside, None, position) if several else cell_from(shape.inside, address_from, position),
        island=shape.island,
        at=shape.at,
        position=position,
        sources=cell_from(shape.inside, prefix_from, position) if several else None,
    )


def _router(shape: RouterShape, position: Position) -> Router:
    routes = (
        Route(to=cell_from(one.to, prefix_from, position), via=cell_from(one.via, address_from, position))
        for one in shape.routes
    )
    return Router(
        name=shape.name,
        interfaces=cells_from(shape.interfaces, interface_address_from, position),
        position=position,
        routes=tuple(routes),
        island=shape.island or SITE,
    )


def _station(shape: StationShape, position: Position) -> Station:
    address = cell_from(shape.address, interface_address_from, position)
    return Station(name=shape.name, address=address, position=position, island=shape.island or SITE)


def _survey(shape: SurveyShape, position: Position) -> SurveyEntry:
    return SurveyEntry(
        file=shape.file,
        position=position,
        taken=shape.taken,
        covers=cells_from(shape.covers, prefix_from, position),
        kind=shape.kind,
        columns=tuple((name, title) for name, title in shape.columns if title),
        island=shape.island or SITE,
    )


def _decision(kind: type[D], shape: Shape, position: Position) -> D:
    """Return a decision of the site from its entry; both have the same field names, except that `with_` is `other`."""
    values = {"other" if name == "with_" else name: value for name, value in shape}
    if "island" in values:
        values["island"] = values["island"] or SITE
    return kind(**values, position=position)
