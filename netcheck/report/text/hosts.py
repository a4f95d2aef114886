"""What listening and sweeping found, as a survey file, as text and as JSON; pure functions of the findings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from textwrap import fill
from typing import Any

from tabulate import tabulate

from netcheck.addr import mac_text, quad
from netcheck.field.discovery import DiscoveredHost, Discovery
from netcheck.report.csv_xlsx.survey import entry_of, table_to_csv
from netcheck.tables.formula_guard import guarded
from netcheck.text import listed, safe

Vendor = Callable[[int], str | None]
NARROWEST = 8  # columns of a wrapped column
HEADER = ("address", "mac", "name", "note", "seen")


def to_csv(found: Discovery) -> str:
    """A table that `[[survey]]` and `netcheck survey read` take: a row a host, with the day it was seen."""
    return table_to_csv(HEADER, (_cells(host, found.day.isoformat()) for host in found.hosts))


def _cells(host: DiscoveredHost, day: str) -> tuple[str, ...]:
    name, note = (guarded(safe(text)) for text in (host.name, "; ".join(host.by)))
    return quad(host.address), mac_text(host.mac), name, note, day


def to_entry(found: Discovery, file: str) -> str:
    """The lines by which a plan names the survey."""
    return entry_of(file, found.day, found.covers)


def to_json(found: Discovery, file: str | None, vendor: Vendor) -> dict[str, Any]:
    """The object that `--format json` prints."""
    return {
        "interface": found.interface,
        "hosts": [_host(host, vendor) | {"seen": found.day.isoformat()} for host in found.hosts],
        "without_address": [_host(host, vendor) | {"address": None} for host in found.nameless],
        "twice": {quad(address): list(map(mac_text, macs)) for address, macs in found.twice.items()},
        "proxy_arp": [
            {"mac": mac_text(relay.mac), "vendor": vendor(relay.mac), "addresses": len(relay.addresses)}
            for relay in found.relays
        ],
        "survey": {
            "file": file, "kind": "csv", "taken": found.day.isoformat(), "covers": list(map(str, found.covers)),
        },
        "complete": found.complete,
        "seconds": round(found.seconds, 1),
        "notes": list(found.notes),
    }  # fmt: skip


def _host(host: DiscoveredHost, vendor: Vendor) -> dict[str, Any]:
    return {
        "address": quad(host.address),
        "mac": mac_text(host.mac),
        "vendor": vendor(host.mac),
        "name": safe(host.name),
        "by": [safe(how) for how in host.by],
    }


def to_text(
    found: Discovery, vendor: Vendor, known_as: Callable[[DiscoveredHost], str], width: int | None = None
) -> str:
    """A table of the hosts, then what is odd about them and what the list covers."""
    table = to_table(found, vendor, known_as, width)
    below = [*_odd(found), *(f"note: {safe(note, 1000)}" for note in found.notes), *_sum(found)]
    wrapped = [fill(line, width) for line in below] if width else below
    return "\n".join([*([table, ""] if table else []), *wrapped])


def to_table(
    found: Discovery, vendor: Vendor, known_as: Callable[[DiscoveredHost], str], width: int | None = None
) -> str:
    """A row a host, wrapped to a width where one is given; empty where there is none. `known_as` gives words for a host
    by the plan and its surveys, "" where they do not know it."""
    rows = [
        (
            quad(host.address) if host.address else "no address told",
            mac_text(host.mac),
            safe(vendor(host.mac) or "", 40),
            safe(host.name, 60),
            safe(known_as(host), 100),
            safe("; ".join(host.by), 100),
        )
        for host in (*found.hosts, *found.nameless)
    ]
    head = ("address", "MAC", "vendor", "name", "known as", "heard by")
    kept = [at for at, _ in enumerate(head) if at < 2 or any(row[at] for row in rows)]
    table = [[row[at] for at in kept] for row in rows]
    heads = [head[at] for at in kept]
    limits = _limits([heads, *table], width) if rows and width else None
    return tabulate(table, heads, "simple", disable_numparse=True, maxcolwidths=limits) if rows else ""


def _limits(rows: Sequence[Sequence[str]], width: int) -> list[int]:
    """The width of each column: addresses and MACs whole, the widest of the others cut until the table fits."""
    limits = [max(map(len, column)) for column in zip(*rows, strict=True)]
    while sum(limits) + 2 * (len(limits) - 1) > width and max(limits[2:], default=0) > NARROWEST:
        limits[limits.index(max(limits[2:]), 2)] -= 1
    return limits


def _odd(found: Discovery) -> list[str]:
    return owners_twice(found) + [
        f"proxy ARP: {mac_text(relay.mac)} answers for {_counted(relay.addresses)} not its own; these are left out, "
        "and whether anybody has them beyond it is not known"
        for relay in found.relays
    ]


def owners_twice(found: Discovery) -> list[str]:
    """A line for each address that several have."""
    return [
        f"two owners: {quad(address)} belongs to {listed(list(map(mac_text, macs)))}"
        for address, macs in found.twice.items()
    ]


def _counted(addresses: Sequence[int]) -> str:
    first = f"{quad(addresses[0])}, which is"
    return first if len(addresses) == 1 else f"{len(addresses)} addresses from {quad(addresses[0])} on that are"


def _sum(found: Discovery) -> list[str]:
    hosts = len({host.address for host in found.hosts})
    covers = listed(list(map(str, found.covers)), most=20) if found.covers else "nothing: who kept silent was not heard"
    return [f"{hosts} address{'' if hosts == 1 else 'es'} on {found.day}; covers {covers}"]
