"""Values that cannot be read."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from netcheck.plan.model import Cell, Interface, Plan
from netcheck.rules.examples import one
from netcheck.rules.finding import Breach, Severity
from netcheck.rules.rule import Rule
from netcheck.rules.scene import Scene
from netcheck.survey.source import Survey
from netcheck.text import listed


def _unreadable(scene: Scene) -> Iterator[Breach]:
    for subject, cell in _cells(scene.plan):
        if cell is not None and cell.value is None:
            yield Breach((subject,), cell.why, str(cell.place))
    for survey in scene.surveys:
        yield from _left_out(survey)


def _left_out(survey: Survey) -> Iterator[Breach]:
    skipped = survey.skipped
    if skipped.count:
        rows = "1 row has" if skipped.count == 1 else f"{skipped.count} rows have"
        shown = listed([f"{remark.place.at}: {remark.why}" for remark in skipped.first[:3]])
        more = f", and {skipped.count - 3} more" if skipped.count > 3 else ""
        message = f"{rows} no readable address, so a clash with that host would not be seen: {shown}{more}"
        yield Breach((survey.file,), message, str(skipped.first[0].place))


def _cells(plan: Plan) -> Iterator[tuple[str, Cell[Any] | None]]:
    for subnet in plan.subnets:
        yield from _of(subnet.name, (subnet.prefix, subnet.gateway, *subnet.pools, *subnet.reserved))
    for interface in plan.interfaces:
        yield from _of(interface.subject, _interface_cells(interface))
    for router in plan.routers:
        yield from _of(router.name, router.interfaces)
        yield from _of(router.name, (cell for route in router.routes for cell in (route.to, route.via)))
    for station in plan.stations:
        yield station.name, station.address
    for survey in plan.surveys:
        yield from _of(survey.file, survey.covers)


def _of(subject: str, cells: Iterable[Cell[Any] | None]) -> Iterator[tuple[str, Cell[Any] | None]]:
    return ((subject, cell) for cell in cells)


def _interface_cells(interface: Interface) -> tuple[Cell[Any] | None, ...]:
    return (interface.address, interface.mask, interface.gateway, interface.mac, interface.host_name)


UNREADABLE_VALUE = Rule(
    slug="unreadable-value",
    severity=Severity.CONFLICT,
    what="An address, mask, MAC, prefix, range or host name cannot be read.",
    why="What cannot be read cannot be checked, and somebody will type it into a device all the same. An octet with a "
    "leading zero counts as unreadable: some software reads 010 as ten, other software as octal eight, so the device "
    "may end up with an address that nobody planned.",
    bad=one('address = "10.62.20.061"'),
    good=one('address = "10.62.20.61"'),
    source="RFC 6943 section 3.1.1; RFC 3986 section 3.2.2",
    check=_unreadable,
)
