"""Writes the hosts found by listening or sweeping as a survey file, as text and as JSON."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from textwrap import fill
from typing import Any

from tabulate import tabulate

from netcheck.addr import Prefix, mac_text, quad
from netcheck.field.discovery import DiscoveredHost, Discovery
from netcheck.tables.delimited import guarded
from netcheck.text import listed, safe

Vendor = Callable[[int], str | None]
NARROWEST = 8  # width of a wrapped column, at least
HEADER = ("address", "mac", "name", "note", "seen")


def to_csv(found: Discovery) -> str:
    """Return a CSV table for `[[survey]]` and `netcheck survey read`: each row is a host with the date it was seen."""
    return table_to_csv(HEADER, (_cells(host, found.day.isoformat()) for host in found.hosts))


def _cells(host: DiscoveredHost, day: str) -> tuple[str, ...]:
    name, note = (guarded(safe(text)) for text in (host.name, "; ".join(host.by)))
    return quad(host.address), mac_text(host.mac), name, note, day


def to_entry(found: Discovery, file: str) -> str:
    """Return the `[[survey]]` entry for the plan."""
    return entry_of(file, found.day, found.covers)


def to_json(found: Discovery, file: str | None, vendor: Vendor) -> dict[str, Any]:
    """Return the object that `--format json` prints."""
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
    """Return the table of hosts, the anomalies and the coverage."""
    table = to_table(found, vendor, known_as, width)
    below = [*_anomalies(found), *(f"note: {safe(note, 1000)}" for note in found.notes), *_sum(found)]
    wrapped = [fill(line, width) for line in below] if width else below
    return "\n".join([*([table, ""] if table else []), *wrapped])


def to_table(
    found: Discovery, vendor: Vendor, known_as: Callable[[DiscoveredHost], str], width: int | None = None
) -> str:
    """Return a table with one host in a row, wrapped to *width* if given; empty if there are no hosts.

    *known_as* returns the name of a host in the plan and the surveys.
    """
    rows = [
        (
            quad(host.address) if host.address else "no address",
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
    """Return column widths: addresses and MACs stay whole; the widest other columns shrink until the table fits."""
    limits = [max(map(len, column)) for column in zip(*rows, strict=True)]
    while sum(limits) + 2 * (len(limits) - 1) > width and max(limits[2:], default=0) > NARROWEST:
        limits[limits.index(max(limits[2:]), 2)] -= 1
    return limits


def _anomalies(found: Discovery) -> list[str]:
    return owners_twice(found) + [
        f"proxy ARP: {mac_text(relay.mac)} replies for {_counted(relay.addresses)} not its own; the list leaves "
        "them out, and it is not known whether a host behind it has them"
        for relay in found.relays
    ]


def owners_twice(found: Discovery) -> list[str]:
    """Return one line for each address that has several MACs."""
    return [
        f"two owners: {quad(address)} belongs to {listed(list(map(mac_text, macs)))}"
        for address, macs in found.twice.items()
    ]


def _counted(addresses: Sequence[int]) -> str:
    first = f"{quad(addresses[0])}, which is"
    return first if len(addresses) == 1 else f"{len(addresses)} addresses from {quad(addresses[0])} on that are"


def _sum(found: Discovery) -> list[str]:
    hosts = len({host.address for host in found.hosts})
    covers = (
        listed(list(map(str, found.covers)), most=20)
        if found.covers
        else "nothing: listening does not hear a silent host"
    )
    return [f"{hosts} address{'' if hosts == 1 else 'es'} on {found.day}; covers {covers}"]


def table_to_csv(titles: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return titles and rows as CSV, quoted where needed (RFC 4180 section 2); the cells must be safe."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(titles)
    writer.writerows(rows)
    return stream.getvalue()


def entry_of(file: str, taken: date | None, covers: Iterable[Prefix]) -> str:
    """Return the `[[survey]]` entry; it has no date if *taken* is None."""
    quoted = safe(file).replace("\\", "\\\\").replace('"', '\\"')
    day = [f"taken = {taken}"] if taken is not None else []
    prefixes = ", ".join(dict.fromkeys(f'"{prefix}"' for prefix in covers))
    todo = "" if prefixes else "   # write the prefixes in which it lists every host; an empty list covers nothing"
    return "\n".join(["[[survey]]", f'file = "{quoted}"', *day, f"covers = [{prefixes}]{todo}"])
