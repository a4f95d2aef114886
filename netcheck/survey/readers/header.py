"""Finds the column of each field of a table by the plan's `columns`, by the titles, or by the content of the cells."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from itertools import accumulate, islice
from typing import NamedTuple

from netcheck.errors import Problem, SurveyError
from netcheck.survey.gathering import head_lines
from netcheck.survey.readers.values import holds_address, mac_from
from netcheck.tables.delimited import DELIMITERS, Record, records_of
from netcheck.text import Pattern, listed, safe

SAMPLE = 200  # lines from which the layout is found
FIELDS = ("address", "mac", "name", "note", "seen")

# Known titles, reduced to letters and digits, the most certain first; common practice, no source.
TITLES: dict[str, tuple[str, ...]] = {
    "address": (
        *("ipaddress", "ipaddr", "ipv4address", "ipv6address", "ip", "ipv4", "ipv6", "ipadresse", "adresseip"),
        *(
            "direccionip",
            "direcciónip",
            "indirizzoip",
            "ipadres",
            "hostip",
            "hostaddress",
            "ipaddresses",
            "ipv4adresse",
        ),
    ),
    "mac": (
        *("macaddress", "macaddr", "mac", "hwaddress", "hwaddr", "hardwareaddress", "physicaladdress"),
        *("ethernetaddress", "lladdr", "macadresse", "adressemac", "direcciónmac", "direccionmac", "indirizzomac"),
    ),
    "name": (
        *("hostname", "name", "host", "dnsname", "fqdn", "computername", "devicename", "device", "hostnames"),
        *("rechnername", "gerätename", "geraetename", "gerät", "nomdhôte", "nomdhote", "nom", "équipement"),
        *("nombredehost", "nombre", "nomehost", "nome", "dispositivo", "hostnaam", "naam", "apparaat"),
    ),
    "note": (
        *("note", "notes", "comment", "comments", "remark", "remarks", "description", "descr"),
        *("bemerkung", "bemerkungen", "kommentar", "beschreibung", "notiz", "remarque", "remarques", "commentaire"),
        *("observaciones", "comentario", "descripción", "nota", "commento", "descrizione", "opmerking"),
    ),
    "seen": (
        *("seen", "lastseen", "lastseenon", "lastactive", "lastup", "date"),
        *("zuletztgesehen", "datum", "vule", "dernièrevue", "fecha", "data"),
    ),
}

_PERHAPS = ("address", "addr")  # may be a postal address: used if it contains IP addresses, or if no column does
# Title words of columns that hold addresses of other devices; common practice, no source.
_OTHERS = frozenset({
    *("broadcast", "dns", "gateway", "gw", "mask", "maske", "masque", "netmask", "netmaske", "network", "netz"),
    *("netzwerk", "ntp", "passerelle", "router", "subnet"),
})  # fmt: skip
_ANY_MAC = Pattern(
    r"(?<![\w:.-])(?:[0-9A-F]{2}([:-])[0-9A-F]{2}(?:\1[0-9A-F]{2}){4}|[0-9A-F]{4}([.-])[0-9A-F]{4}\2[0-9A-F]{4})(?![\w:.-])",
    re.ASCII | re.IGNORECASE,
)
_ANY_ADDRESS = Pattern(r"(?<![\d.])\d{1,3}(?:\.\d{1,3}){3}(?![\d.])", re.ASCII)
_NO_TITLES = Pattern(r"\s*[;#$]|.*\d\.\d", re.ASCII)  # a comment, a directive of a zone or a line with an address
_HEADER_ROWS = 30
_SAMPLE_SIZE = 1 << 20  # characters of the sample; a single line may be that long
_MOST_COLUMNS = 1024  # columns of a row that are examined


class Layout(NamedTuple):
    """A table's delimiter, the row of its header, the columns of addresses and the column of each other field.

    Rows are counted from 1 (0: no header), columns from 0.
    """

    delimiter: str
    header: int
    addresses: tuple[int, ...]
    fields: tuple[tuple[str, int], ...]


def layout_of(lines: Sequence[str], wanted: Sequence[tuple[str, str]] = ()) -> Layout:
    """Return the layout of a text from its first lines; SurveyError if it has no clear column of addresses.

    `wanted` is the plan's `columns`: pairs of a field and the title or number of its column.
    """
    sizes = accumulate(map(len, lines))
    sample = [line for line, size in zip(lines, sizes, strict=True) if size - len(line) < _SAMPLE_SIZE]
    used = [one for one in DELIMITERS if any(one in line for line in sample)]
    unused = [one for one in DELIMITERS if one not in used][:1]  # all unused delimiters fit equally well
    delimiter = max((*used, *unused), key=lambda one: _fitness(sample, one))
    return layout_in([record for record in _cut_records(sample, delimiter) if not record.empty], wanted, delimiter)


def _cut_records(lines: Sequence[str], delimiter: str) -> Iterator[Record]:
    """Yield the records, each cut to the first `_MOST_COLUMNS` columns."""
    return (record._replace(cells=record.cells[:_MOST_COLUMNS]) for record in records_of(lines, delimiter))


def layout_in(rows: Sequence[Record], wanted: Sequence[tuple[str, str]], delimiter: str = "") -> Layout:
    """Return the layout of a table from its first rows, none of them empty; see `layout_of`."""
    header = _header(rows, {plain_title(title) for _, title in wanted})
    cells = header.cells if header else ()
    body = [row for row in rows if header is None or row.row > header.row]
    named = {name: _wanted_column(cells, rows, title) for name, title in wanted}
    addresses = (named["address"],) if "address" in named else _address_columns(cells, body)
    fields = {name: column for name, column in named.items() if name != "address"}
    for name in FIELDS[1:]:
        taken = {*addresses, *fields.values()}
        column = next((one for one in _titled(cells, TITLES[name]) if one not in taken), None)
        if column is None and name == "mac":
            column = _only_column(_counts(body, _is_mac), taken)
        if column is not None:
            fields.setdefault(name, column)
    return Layout(delimiter, header.row if header else 0, addresses, tuple(fields.items()))


def recognises(head: bytes) -> bool:
    """Return whether one of the first lines is a header: a title of addresses and another known title.

    The titles of a file that netcheck wrote count as well.
    """
    candidates = [line for line in head_lines(head)[:_HEADER_ROWS] if not _NO_TITLES.match(line)]
    rows = [record.cells for one in DELIMITERS for record in _cut_records(candidates, one) if len(record.cells) > 1]
    return any(_is_own(row) or (_titled(row, TITLES["address"]) and len(_fields_titled(row)) > 1) for row in rows)


def _is_own(row: Sequence[str]) -> bool:
    """Return whether netcheck writes all of these titles and `address` is one of them."""
    titles = {cell.strip() for cell in row}
    return "address" in titles and titles <= {*FIELDS, "source", "kind"}


def _fields_titled(row: Sequence[str]) -> list[str]:
    return [field for field, words in TITLES.items() if _titled(row, words)]


def _is_of_others(title: str) -> bool:
    words = "".join(letter if letter.isalnum() else " " for letter in title.casefold()).split()
    return not _OTHERS.isdisjoint(words)


def plain_title(title: str) -> str:
    """Return the form in which titles are compared: letters and digits only, in lower case."""
    return "".join(filter(str.isalnum, title.casefold()))


def _fitness(lines: Sequence[str], delimiter: str) -> tuple[int, int]:
    records = list(_cut_records(lines, delimiter))
    filled = sum(any(map(holds_address, record.cells)) for record in records)
    return filled, sum(len(record.cells) for record in records)


def _header(rows: Sequence[Record], wanted: set[str]) -> Record | None:
    """Return the row with the most known titles above the first address, or None.

    A row with two known titles may also follow the first address, because a heading may contain an address.
    """
    best, most, above = None, 0, True
    for row in rows[:_HEADER_ROWS]:
        if any(map(holds_address, row.cells)):
            above = False
            continue
        titles = {plain_title(cell) for cell in row.cells}
        words = sum(not titles.isdisjoint(known) for known in (*TITLES.values(), _PERHAPS))
        score = 20 * len(titles & wanted) + 2 * words + (len(titles) > 1 and any(map(_is_of_others, row.cells)))
        if score > most and (above or score > 3):
            best, most = row, score
    return best


def _wanted_column(header: Sequence[str], rows: Sequence[Record], title: str) -> int:
    plain = [plain_title(cell) for cell in header]
    if plain_title(title) in plain:
        return plain.index(plain_title(title))
    widest = max((len(row.cells) for row in rows), default=0)
    if title.isdecimal() and 1 <= int(title[:9]) <= widest:
        return int(title) - 1
    known = [f'"{safe(cell.strip(), 40)}"' for cell in header if cell.strip()]
    do = f"Its columns are {listed(known, 20)}" if known else f"It has {widest} columns and no header: give a number"
    raise SurveyError(Problem(f'it has no column "{safe(title, 60)}"', do=do))


def _is_mac(text: str) -> bool:
    try:
        return mac_from(text) is not None
    except ValueError:
        return False


def _counts(rows: Sequence[Record], test: Callable[[str], bool]) -> dict[int, int]:
    """Return the number of cells that pass the test by column; columns without such a cell are left out."""
    return Counter(column for row in rows for column, cell in enumerate(row.cells) if test(cell))


def _titled(header: Sequence[str], words: Sequence[str]) -> list[int]:
    """Return the columns with one of these titles, in the order of the titles."""
    plain = [plain_title(cell) for cell in header]
    return [plain.index(word) for word in words if word in plain]


def _only_column(counts: dict[int, int], taken: set[int]) -> int | None:
    """Return the column with more than twice the count of any other column, or None; `taken` columns are left out."""
    free = {column: count for column, count in counts.items() if column not in taken}
    best = max(free, key=lambda column: free[column], default=None)
    rivals = [column for column in free if column != best and 2 * free[column] >= max(free.values())]
    return None if rivals else best


def _address_columns(header: Sequence[str], rows: Sequence[Record]) -> tuple[int, ...]:
    if sure := _titled(header, TITLES["address"]):
        return tuple(sure)
    counts = _counts(rows, holds_address)
    likely = _titled(header, _PERHAPS)
    for column in likely:
        if column in counts or not counts:
            return (column,)
    best = _only_column(counts, set())
    if best is None:
        best = _only_column(
            counts, {column for column in counts if column < len(header) and _is_of_others(header[column])}
        )
    texts = [cell for row in rows for cell in row.cells]
    if not counts and any(map(_ANY_MAC.search, texts)) and not any(map(_ANY_ADDRESS.search, texts)):
        what = "it contains MACs but no IP addresses; it may be the MAC address table of a switch"
        raise SurveyError(Problem(what, do="Export the ARP table of the router, which has both"))
    if best is None:
        numbers = listed([str(column + 1) for column in sorted(counts)], joint="or")
        what = f"its addresses could be in column {numbers}" if counts else "no column of addresses was found in it"
        do = 'Name it: columns = { address = "title or number" } in the plan, or --map "its title=address" '
        raise SurveyError(Problem(what, do=f"{do}with survey read"))
    return (best,)


MERGED = ("address", "mac", "name", "note", "seen", "source", "kind")  # the titles of a merged file


def is_merged(first: Sequence[str]) -> bool:
    """Return whether the cells of a file's first row are the titles of a merged file."""
    return tuple(map(str.strip, first)) == MERGED


# The type alone (`A`), or the form of management consoles: `Host (A)`, `Pointer (PTR)`.
DNS_TYPE = Pattern(r"(?:[^()]*\()?(A|AAAA|PTR|CNAME|NS|SOA|MX|SRV|TXT|CAA|NAPTR|DS|DNSKEY)\)?", re.IGNORECASE)
_TYPES = ("type", "recordtype", "typ", "rrtype", "class")
_DATA = ("data", "value", "content", "recorddata", "rdata", "target", "address", "ip", "ipaddress", "daten", "wert")
_NAMES = ("name", "recordname", "owner", "hostname", "host", "fqdn", "dnsname")
_SHARE = 0.9  # share of rows with a record type that makes a table one of DNS records


class DnsColumns(NamedTuple):
    """The columns of a table of DNS records, counted from 0, and the row of its titles."""

    header: int
    name: int
    kind: int
    data: int


def dns_columns(rows: Sequence[Record], header: int) -> DnsColumns | None:
    """Return the columns of a table of DNS records, judged by its first rows; None for any other table."""
    titles = next((list(map(plain_title, row.cells)) for row in rows if row.row == header), [])
    # Where a table has both `Type` and `RecordType`, `Type` may be a number.
    typed = [titles.index(title) for title in _TYPES if title in titles]
    if not typed:
        return None
    body = [row for row in rows if row.row > header and not row.empty]
    kinds = Counter(column for row in body for column, cell in enumerate(row.cells) if DNS_TYPE.fullmatch(cell.strip()))
    kind = next((column for column in typed if kinds[column] >= max(1, _SHARE * len(body))), None)
    if kind is None:
        return None
    name = next((titles.index(title) for title in _NAMES if title in titles), None)
    data = next((titles.index(title) for title in _DATA if title in titles and titles.index(title) != name), None)
    return None if name is None or data is None else DnsColumns(header, name, kind, data)


# Known titles, reduced to letters and digits; common practice, no source.
_STARTS = ("startrange", "startipaddress", "startip", "rangestart", "startaddress", "startipadresse", "startadresse")
_ENDS = ("endrange", "endipaddress", "endip", "rangeend", "endaddress", "endipadresse", "endadresse")
_OF_SCOPES = ("mask", "lease", "maske", "state", "dauer")  # parts of titles; a list of exclusions has none of them


class RangeColumns(NamedTuple):
    """The delimiter, the row of the titles and the columns of the first and the last address, counted from 0."""

    delimiter: str
    header: int
    start: int
    end: int
    of_scopes: bool  # the titles show that every row without the word `excluded` is an assigned range


def range_columns(lines: Sequence[str]) -> RangeColumns | None:
    """Return the columns of a table of ranges, judged by its first lines; None for any other table."""
    found = (range_columns_in(list(islice(records_of(lines, one), _HEADER_ROWS)), one) for one in DELIMITERS)
    return next((columns for columns in found if columns is not None), None)


def range_columns_in(rows: Sequence[Record], delimiter: str = "") -> RangeColumns | None:
    """Return the columns of a table of ranges, judged by its first rows; None for any other table."""
    for record in rows[:_HEADER_ROWS]:
        titles = [plain_title(cell) for cell in record.cells]
        start = next((titles.index(word) for word in _STARTS if word in titles), None)
        end = next((titles.index(word) for word in _ENDS if word in titles), None)
        if start is not None and end is not None:
            of_scopes = any(word in title for word in _OF_SCOPES for title in titles)
            return RangeColumns(delimiter, record.row, start, end, of_scopes)
    return None
