"""Merges the site hosts of several lists and reports disagreements between the lists.

Rows with the same address, MAC and name are the same host. A row without a MAC or a name joins the host of its address
if there is only one. No value is lost: a host with two names or two MACs keeps a row for each.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import TypeVar

from netcheck.addr import Address, Mac
from netcheck.survey.host_table import HostTable, SiteHost, folded

MOST_SHOWN = 20  # sources, notes or values listed for one host; the rest are counted

Key = TypeVar("Key", bound=Hashable)


@dataclass(frozen=True, slots=True)
class MergedHost:
    """A host merged from all lists: `sources` are its positions in them, `seen` is the latest day in any of them."""

    address: Address
    mac: Mac | None
    name: str
    note: str
    seen: date | None
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Disagreement:
    """An address with different MACs or names: `values` pairs each value with the position of its first occurrence."""

    address: Address
    what: str  # "MAC" or "name"
    values: tuple[tuple[str, str], ...]
    more: int = 0  # the number of further values


def merged(table: HostTable) -> Iterator[MergedHost]:
    """Yield the hosts of a table in order of address."""
    for _, rows in groupby(table, key=lambda host: host.address):
        yield from _merged(list(rows))


def _merged(rows: list[SiteHost]) -> Iterator[MergedHost]:
    if len(rows) == 1:
        yield _host(rows, rows[0].mac, rows[0].name)
        return
    for mac, owned in _grouped(rows, lambda row: row.mac).items():
        for name, same in _grouped(owned, lambda row: folded(row.name) or None).items():
            yield _host(same, mac, next(row.name for row in same if (folded(row.name) or None) == name))


def _grouped(rows: list[SiteHost], key: Callable[[SiteHost], Key | None]) -> dict[Key | None, list[SiteHost]]:
    """Group rows by a key; rows without a key join the other group if there is only one, else they form a group."""
    found: dict[Key | None, list[SiteHost]] = {}
    for row in rows:
        found.setdefault(key(row), []).append(row)
    if None in found and len(found) == 2:
        return {one: rows for one in found if one is not None}
    return found


def _host(rows: list[SiteHost], mac: Mac | None, name: str) -> MergedHost:
    seen = max((row.seen for row in rows if row.seen), default=None)
    notes = _first(row.note for row in rows if row.note)
    return MergedHost(rows[0].address, mac, name, "; ".join(notes), seen, _first(row.where for row in rows))


def _first(texts: Iterable[str]) -> tuple[str, ...]:
    distinct = list(dict.fromkeys(texts))
    more = len(distinct) - MOST_SHOWN
    return (*distinct[:MOST_SHOWN], *([f"{more} more"] if more > 0 else []))


def disagreements(table: HostTable) -> Iterator[Disagreement]:
    """Yield the addresses with different MACs, and those with names that cannot belong to one host."""
    for rows in table.repeated():
        macs = {host.mac: host for host in reversed(rows) if host.mac is not None}
        if len(macs) > 1:
            yield _disagreement(
                rows[0].address, "MAC", [(str(mac), host.where) for mac, host in reversed(macs.items())]
            )
        names = {folded(host.name): host for host in reversed(rows) if folded(host.name)}
        if len(names) > 1 and _differ(list(names)):
            values = [(host.name.strip(), host.where) for host in reversed(names.values())]
            yield _disagreement(rows[0].address, "name", values)


def _differ(names: Sequence[str]) -> bool:
    """Return whether these names cannot belong to one host: each must be the longest name or its first label."""
    longest = max(names, key=len)
    return any(name not in (longest, longest.partition(".")[0]) for name in names)


def _disagreement(address: Address, what: str, values: list[tuple[str, str]]) -> Disagreement:
    return Disagreement(address, what, tuple(values[:MOST_SHOWN]), max(0, len(values) - MOST_SHOWN))
