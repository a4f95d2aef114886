"""Checks that names in a plan are unique and that every name it refers to exists.

Where all interfaces could be built, the model's are checked. Otherwise the tables are read as they stand in the files,
so that an entry with another fault is checked too, and is not reported as missing elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from netcheck.errors import Problem
from netcheck.plan.build import interfaces_in
from netcheck.plan.entries import Entry, Tables
from netcheck.plan.model import Interface, Position
from netcheck.plan.shapes import as_label
from netcheck.text import listed, safe

_COMPARED = 300  # names compared for a suggestion


@dataclass(frozen=True, slots=True)
class _Loose:
    """The names in an interface's entry, whether or not its other values are valid."""

    subject: str
    subnet: str
    subnet6: str
    behind: str
    ports: tuple[str, ...]
    position: Position

    @classmethod
    def of(cls, device: str, name: str, entry: Entry) -> _Loose:
        ports = entry.data.get("ports", ["1"])
        labels = map(as_label, ports if isinstance(ports, list) else ())
        texts = (one.strip() for one in labels if isinstance(one, str))
        subject = f"{device}/{name}" if device and name else ""
        return cls(
            subject, entry.text("subnet"), entry.text("subnet6"), entry.text("behind"), tuple(texts), entry.position
        )


_Named = _Loose | Interface


def reference_problems(tables: Tables, made: Sequence[Interface]) -> Iterator[Problem]:
    """Yield every duplicate name and every reference to a name that does not exist. `made` are the interfaces of the
    model, or empty where not all of them could be built.
    """
    interfaces: Sequence[_Named] = made or tuple(_interfaces(tables))
    yield from _twice("subnet", _names(tables.subnets))
    yield from _twice("device", _names(tables.devices))
    subjects = [one.subject for one in interfaces]
    if len(set(subjects)) < len(subjects):
        yield from _twice("interface", zip(subjects, (one.position for one in interfaces), strict=True))
    for interface in [one for one in interfaces if len(one.ports) > 1]:
        yield from _twice("port", ((port, interface.position) for port in interface.ports))
    yield from _twice("router", _names(tables.routers))
    yield from _twice("station", _names(tables.stations))
    yield from _twice("island", _names(tables.islands))
    if "subnets" not in tables.unread:
        yield from _unknown_subnets(tables, interfaces)
    if "interfaces" not in tables.unread:
        yield from _unknown_ends(tables, interfaces)
    yield from _unknown_routers(tables)
    if "interfaces" not in tables.unread and any(interface.behind for interface in interfaces):
        yield from _unknown_ports(interfaces)
        yield from _circles(interfaces)


def _names(entries: Iterable[Entry]) -> Iterator[tuple[str, Position]]:
    return ((entry.text("name"), entry.position) for entry in entries)


def _interfaces(tables: Tables) -> Iterator[_Loose]:
    for device in tables.devices:
        for inner in interfaces_in(device):
            yield _Loose.of(device.text("name"), inner.text("name"), inner)
    for row in tables.interfaces:
        yield _Loose.of(row.text("device"), row.text("interface"), row)


def _twice(what: str, names: Iterable[tuple[str, Position]]) -> Iterator[Problem]:
    first: dict[str, Position] = {}
    for name, position in names:
        if name and name in first:
            before = "" if str(first[name]) == str(position) else f", first at {first[name]}"
            yield Problem(f'{what} "{safe(name, 80)}" is there twice{before}', str(position), "Rename one of them")
        first.setdefault(name, position)


def _unknown_subnets(tables: Tables, interfaces: Iterable[_Named]) -> Iterator[Problem]:
    known = dict.fromkeys(name for name, _ in _names(tables.subnets) if name)
    named = ({one.subnet for one in interfaces} | {one.subnet6 for one in interfaces}) - {""}
    for scheme in tables.schemes:
        name = scheme.text("subnet")
        if name and name not in known:
            yield _unknown("subnet", name, known, scheme.position)
    for interface in interfaces if not named <= known.keys() else ():
        for name in (interface.subnet, interface.subnet6):
            if name and name not in known:
                yield _unknown("subnet", name, known, interface.position)


def _unknown_ends(tables: Tables, interfaces: Iterable[_Named]) -> Iterator[Problem]:
    known = dict.fromkeys(one.subject for one in interfaces if one.subject) if tables.conversations else {}
    for conversation in tables.conversations:
        for end in (conversation.text("from"), conversation.text("to")):
            if end and end not in known:
                yield _unknown("interface", end, known, conversation.position)


def _unknown_routers(tables: Tables) -> Iterator[Problem]:
    """Check the routers of translations; a plan without any router may name one, and the paths across it stay
    undecided.
    """
    known = dict.fromkeys(name for name, _ in _names(tables.routers) if name)
    for translation in tables.translations if known else ():
        name = translation.text("at")
        if name and name not in known:
            yield _unknown("router", name, known, translation.position)


def _unknown_ports(interfaces: Iterable[_Named]) -> Iterator[Problem]:
    known = {f"{one.subject}:{port}": None for one in interfaces for port in one.ports}
    for interface in interfaces:
        if interface.behind and interface.behind not in known:
            yield _unknown("port", interface.behind, known, interface.position)


def _unknown(what: str, name: str, names: Iterable[str], position: Position) -> Problem:
    known = list(names)
    near = get_close_matches(name[:200], known[:_COMPARED], 1)
    hint = f'; did you mean "{safe(near[0], 80)}"?' if near else ""
    do = "" if near else f"Known: {listed([safe(one, 80) for one in known], 20)}"
    return Problem(f'{what} "{safe(name, 80)}" is not in the plan{hint}', str(position), do)


def _circles(interfaces: Iterable[_Named]) -> Iterator[Problem]:
    """Report interfaces that are `behind` themselves, directly or through others."""
    owner = {f"{one.subject}:{port}": one for one in interfaces for port in one.ports}
    seen: set[str] = set()
    for start in interfaces:
        path: set[str] = set()
        here: _Named | None = start
        while here is not None and here.subject not in seen and here.subject not in path:
            path.add(here.subject)
            here = owner.get(here.behind)
        if here is not None and here.subject in path:
            yield Problem(
                f'"{safe(here.subject)}" is connected behind itself', str(here.position), "Correct the key `behind`"
            )
        seen |= path
