"""Reads DNS records that were exported as a delimited table: a name, a type and data in each row."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from netcheck.addr import Address
from netcheck.survey.gathering import Gathering
from netcheck.survey.model import RecordKind
from netcheck.survey.readers.header import plain_title
from netcheck.tables.delimited import Record, unguarded
from netcheck.text import Pattern, safe

# The type alone (`A`), or the form of management consoles: `Host (A)`, `Pointer (PTR)`.
_TYPE = Pattern(r"(?:[^()]*\()?(A|AAAA|PTR|CNAME|NS|SOA|MX|SRV|TXT|CAA|NAPTR|DS|DNSKEY)\)?", re.IGNORECASE)
_TYPES = ("type", "recordtype", "typ", "rrtype", "class")
_DATA = ("data", "value", "content", "recorddata", "rdata", "target", "address", "ip", "ipaddress", "daten", "wert")
_NAMES = ("name", "recordname", "owner", "hostname", "host", "fqdn", "dnsname")
_REVERSE = Pattern(r"((?:\d{1,3}\.){4})in-addr\.arpa", re.IGNORECASE | re.ASCII)
_SHARE = 0.9  # share of rows with a record type that makes a table one of DNS records


@dataclass(frozen=True, slots=True)
class DnsColumns:
    """The columns of a table of DNS records, counted from 0, and the row of its titles."""

    header: int
    name: int
    kind: int
    data: int


def dns_columns(rows: Sequence[Record], header: int) -> DnsColumns | None:
    """Return the columns of a table of DNS records, judged by its first rows; None for any other table."""
    titles = next((list(map(plain_title, row.cells)) for row in rows if row.row == header), [])
    body = [row for row in rows if row.row > header and not row.empty]
    kinds = Counter(column for row in body for column, cell in enumerate(row.cells) if _TYPE.fullmatch(cell.strip()))
    typed = (
        titles.index(title) for title in _TYPES if title in titles
    )  # if both `Type` and `RecordType` exist, `Type` may be a number
    kind = next((column for column in typed if kinds[column] >= max(1, _SHARE * len(body))), None)
    if kind is None:
        return None
    name = next((titles.index(title) for title in _NAMES if title in titles), None)
    data = next((titles.index(title) for title in _DATA if title in titles and titles.index(title) != name), None)
    return None if name is None or data is None else DnsColumns(header, name, kind, data)


def gather(records: Iterable[Record], columns: DnsColumns, file: str, into: Gathering) -> None:
    """Add the records of all rows below the titles; a row that is not a record becomes a remark."""
    into.begin_line(file, "line", "zone")
    for record in records:
        if record.row <= columns.header or record.empty:
            continue
        cells = [unguarded(cell.strip()) for cell in record.cells]
        name, kind, data = (cells[at] if at < len(cells) else "" for at in (columns.name, columns.kind, columns.data))
        try:
            _add(name, kind, data, record.row, into)
        except ValueError as error:
            into.skip(record.row, str(error))


def _add(name: str, kind: str, data: str, row: int, into: Gathering) -> None:
    found = _TYPE.fullmatch(kind)
    if found is None:
        raise ValueError(f"{safe(kind, 40)!r} is not a type of DNS record")
    word = found[1].upper()
    if word in ("A", "AAAA"):
        address = Address.from_text(data)
        if name.startswith(("(", "@")) or not name:  # the record of the zone itself; the table does not give its name
            into.pass_over(row, f"{address}: the record of the zone itself")
            return
        into.add_record(RecordKind(word), name.removesuffix("."), address, name.endswith("."), row)
    elif word == "PTR":
        into.add_record(RecordKind.PTR, data.removesuffix("."), _address_of_pointer(name), True, row)
    elif word == "CNAME":
        into.add_alias(name.removesuffix("."), data.removesuffix("."), name.endswith("."), row)
    else:
        into.pass_over(row, f"a record of type {word} names no host")


def _address_of_pointer(name: str) -> Address:
    """Return the address of a PTR record from its owner: an address, or a name in in-addr.arpa; else ValueError."""
    if found := _REVERSE.fullmatch(name.removesuffix(".")):
        return Address.from_text(".".join(reversed(found[1].removesuffix(".").split("."))))
    try:
        return Address.from_text(name)
    except ValueError as error:
        what = f"{safe(name, 60)!r} is not the address of a PTR record"
        raise ValueError(f"{what}; export the whole address or its name in in-addr.arpa") from error
