"""Finds the column of each field of a table by the plan's `columns`, by the titles, or by the content of the cells."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate

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


@dataclass(frozen=True, slots=True)
class Layout:
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
    delimiter = max(DELIMITERS, key=lambda one: _fitness(sample, one))
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
    return not _OTHERS.isdisjoint(re.split(r"\W+", title.casefold()))


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
