"""The rule on values that cannot be read."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import chain
from operator import attrgetter
from typing import Any

from netcheck.plan.model import Cell, Interface, Plan, Position
from netcheck.rules.finding import Breach, Severity
from netcheck.rules.rule import Rule, one
from netcheck.rules.scene import Scene
from netcheck.survey.model import Survey
from netcheck.text import listed

Named = tuple[str, str, Cell[Any] | None]


def _unreadable(scene: Scene) -> Iterator[Breach]:
    for subject, what, cell in _cells(scene.plan):
        if cell is not None and cell.value is None:
            others = (f"{what} {cell.text}",)
            yield Breach((subject,), f"the {what} cannot be read: {cell.why}", str(cell.position), others=others)
    for survey in scene.surveys:
        yield from _left_out(survey)


def _left_out(survey: Survey) -> Iterator[Breach]:
    for problem in survey.failed:
        why = problem._replace(where="")
        message = f"the list cannot be read, so a clash with a host in it would not be found: {why}"
        yield Breach((survey.file,), message, str(survey.entry.position))
    skipped = survey.skipped
    if skipped.count:
        rows = "1 row" if skipped.count == 1 else f"{skipped.count} rows"
        shown = listed([f"{_place(remark.position, survey)}: {remark.why}" for remark in skipped.first[:3]])
        more = f", and {skipped.count - 3} more" if skipped.count > 3 else ""
        message = f"{rows} cannot be read, so a clash with a host there would not be found: {shown}{more}"
        yield Breach((survey.file,), message, str(skipped.first[0].position))


def _place(position: Position, survey: Survey) -> str:
    """Return a position in a survey; with the file's name if the survey was merged from several files."""
    return position.at if position.file == survey.file else str(position)


_TYPED = {
    "address": "address",
    "mask": "mask",
    "gateway": "gateway",
    "IPv6 address": "address6",
    "IPv6 prefix length": "mask6",
    "IPv6 gateway": "gateway6",
    "MAC": "mac",
    "host name": "host_name",
}
_CELLS: Callable[[Interface], tuple[Cell[Any] | None, ...]] = attrgetter(*_TYPED.values())
_VALUE = attrgetter("value")


def _unread(interfaces: tuple[Interface, ...]) -> Iterator[Named]:
    """Yield the unreadable cells of interfaces, column by column; nearly all plans have none."""
    if not all(map(_VALUE, filter(None, chain.from_iterable(map(_CELLS, interfaces))))):
        for what, cells in zip(_TYPED, zip(*map(_CELLS, interfaces), strict=True), strict=True):
            for interface, cell in zip(interfaces, cells, strict=True):
                if cell is not None and cell.value is None:
                    yield interface.subject, what, cell
    for interface in interfaces:
        for what, label in interface.damaged:
            yield interface.subject, what, label


def _cells(plan: Plan) -> Iterator[Named]:
    """Yield every cell of the plan that may be unreadable, with its subject and its kind."""
    for subnet in plan.subnets:
        yield subnet.name, "prefix", subnet.prefix
        yield subnet.name, "gateway", subnet.gateway
        yield from _several(subnet.name, "pool", subnet.pools)
        yield from _several(subnet.name, "reserved range", subnet.reserved)
    yield from _unread(plan.interfaces)
    for router in plan.routers:
        yield from _several(router.name, "interface", router.interfaces)
        yield from _several(router.name, "route's prefix", (route.to for route in router.routes))
        yield from _several(router.name, "route's next hop", (route.via for route in router.routes))
    for translation in plan.translations:
        yield translation.subject, "outside address", translation.outside
        if translation.sources is None:
            yield translation.subject, "inside address", translation.inside
        else:
            yield translation.subject, "inside prefix", translation.sources
    for scheme in plan.schemes:
        yield scheme.subject, "range", scheme.range
    for station in plan.stations:
        yield station.name, "address", station.address
    for survey in plan.surveys:
        yield from _several(survey.file, "prefix covered", survey.covers)


def _several(subject: str, what: str, cells: Iterable[Cell[Any]]) -> Iterator[Named]:
    return ((subject, what, cell) for cell in cells)


UNREADABLE_VALUE = Rule(
    slug="unreadable-value",
    severity=Severity.CONFLICT,
    what="An address, mask, MAC, prefix, range, host name or survey cannot be read.",
    why="A value that cannot be read cannot be checked, but somebody will still type it into a device. An octet with a "
    "leading zero counts as unreadable: some software reads 010 as ten, other software as octal eight, so the device "
    "may get an address that nobody planned.",
    bad=one('address = "10.62.20.061"'),
    good=one('address = "10.62.20.61"'),
    source="RFC 6943 section 3.1.1; RFC 3986 section 3.2.2",
    check=_unreadable,
)
