"""Lists the addresses of a subnet that are in use: who has each, with name, MAC, switch port and place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

from netcheck.addr import Address, Prefix, Range
from netcheck.plan.model import Subnet
from netcheck.space.map_cells import Use
from netcheck.space.occupancy import Gateway, Island, Placed
from netcheck.survey.host_table import SiteHost


@dataclass(frozen=True, slots=True, kw_only=True)
class AddressUse:
    """One use of an address, or of a pool or reserved range. An address with several users has several entries."""

    span: Range
    use: Use
    who: str
    name: str = ""
    mac: str = ""
    switch_port: str = ""
    location: str = ""
    source: str = ""  # where it is planned or listed
    description: str = ""
    remark: str = ""


def address_list(island: Island, subnet: Subnet, most_hosts: int | None = None) -> list[AddressUse]:
    """Return the uses of a subnet in address order, with at most `most_hosts` site hosts; empty if its prefix cannot be
    read."""
    prefix = subnet.prefix.value
    if prefix is None:
        return []
    order = list(Use)
    return sorted(_uses(island, prefix, most_hosts), key=lambda one: (one.span.low, order.index(one.use), one.who))


def _uses(island: Island, prefix: Prefix, most_hosts: int | None) -> Iterator[AddressUse]:
    for gateway in island.gateways:
        if prefix.holds(gateway.address):
            yield _of_gateway(gateway)
    for placed in island.placed:
        if prefix.holds(placed.address):
            yield _of_interface(placed)
    for address, station in island.stations:
        if prefix.holds(address):
            yield AddressUse(span=_one(address), use=Use.STATION, who=station.name, source=str(station.position))
    for host in islice(island.hosts.between(prefix.first, prefix.last), most_hosts):
        yield _of_host(host)
    for subnet in island.subnets:
        for cells, use in ((subnet.pools, Use.POOL), (subnet.reserved, Use.RESERVED)):
            for cell in cells:
                span = cell.value
                if span is not None and span.family == prefix.family and prefix.overlaps_range(span):
                    yield AddressUse(span=span, use=use, who=f"subnet {subnet.name}", source=str(cell.position))


def _one(address: Address) -> Range:
    return Range(address.family, address.value, address.value)


def _of_gateway(gateway: Gateway) -> AddressUse:
    return AddressUse(span=_one(gateway.address), use=Use.GATEWAY, who=str(gateway), source=str(gateway.owner.position))


def _of_interface(placed: Placed) -> AddressUse:
    one = placed.interface
    return AddressUse(
        span=_one(placed.address),
        use=Use.PLANNED,
        who=one.subject,
        name=one.host_name.text if one.host_name else "",
        mac=str(one.mac.value) if one.mac and one.mac.value else "",
        switch_port=one.switch_port.text if one.switch_port else "",
        location=one.location,
        source=str(one.position),
        description=one.description,
        remark=one.remark,
    )


def _of_host(host: SiteHost) -> AddressUse:
    return AddressUse(
        span=_one(host.address),
        use=Use.SITE_HOST,
        who=host.name or "a site host",
        name=host.name,
        mac=str(host.mac) if host.mac else "",
        source=host.where,
    )
