"""Finds the row of titles of a device list and the field of each column: by title, by `--map`, or by its cells."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from netcheck.errors import Problem, UsageError
from netcheck.survey.readers.header import TITLES, plain_title
from netcheck.survey.readers.values import holds_address, mac_from
from netcheck.tables.delimited import Record
from netcheck.text import listed, safe

HEADER_ROWS = 40  # the titles are among the first rows of a table
LEAVE_OUT = "-"  # a column that is not taken over

# Titles by field, letters and digits only, in English and German; common practice, no source.
_WORDS: dict[str, tuple[str, ...]] = {
    "mask": (
        *(
            "mask",
            "subnetmask",
            "netmask",
            "ipmask",
            "maske",
            "subnetzmaske",
            "subnetmaske",
            "netzmaske",
            "netzwerkmaske",
        ),
        *("masque", "prefixlength", "cidr"),
    ),
    "gateway": (
        *("gateway", "defaultgateway", "gw", "ipgateway", "standardgateway", "router", "routeradresse", "passerelle"),
    ),
    "mac": TITLES["mac"],
    "address": (*TITLES["address"], "address", "addr", "adresse", "ipadress", "ipaddressv4", "ipadr", "plannedip"),
    "host-name": (
        *(
            "hostname",
            "dnsname",
            "fqdn",
            "host",
            "rechnername",
            "netzwerkname",
            "profinetname",
            "pnname",
            "stationname",
        ),
        *("pndevicename", "profinetdevicename", "computername"),
    ),
    "switch-port": ("switchport", "switch", "switchanschluss", "swport", "networkport", "patchport", "dose"),
    "vlan": ("vlan", "vlanid", "vlannr", "vlanno"),
    "subnet": ("subnet", "network", "net", "netz", "netzwerk", "segment", "subnetz", "networksegment", "zone"),
    "slot": ("slot", "steckplatz", "rackslot", "modulslot"),
    "ports": ("ports", "connectors", "anschlusse", "anschlüsse", "buchsen"),
    "interface": ("interface", "schnittstelle", "nic", "netzwerkkarte", "interfacename", "port", "anschluss"),
    "kind": (
        "kind",
        "type",
        "devicetype",
        "typ",
        "gerätetyp",
        "geratetyp",
        "gerateart",
        "geräteart",
        "art",
        "category",
    ),
    "place": (
        *(
            "place",
            "location",
            "panel",
            "cabinet",
            "ort",
            "einbauort",
            "schaltschrank",
            "schrank",
            "standort",
            "position",
        ),
        *("controlpanel", "feld"),
    ),
    "description": (
        *("description", "descr", "function", "beschreibung", "funktion", "bezeichnung", "designation", "service"),
        *("purpose", "funktionstext", "zweck"),
    ),
    "remark": (
        *("remark", "remarks", "note", "notes", "comment", "comments", "bemerkung", "bemerkungen", "kommentar"),
        *("hinweis", "anmerkung", "notiz"),
    ),
    "device": (
        *("device", "devicename", "tag", "devicetag", "tagname", "equipment", "equipmenttag", "equipmentid", "asset"),
        *("betriebsmittel", "betriebsmittelkennzeichen", "betriebsmittelkennzeichnung", "bmk", "kennzeichen", "gerät"),
        *(
            "gerat",
            "geraet",
            "gerätename",
            "geratename",
            "component",
            "komponente",
            "node",
            "teilnehmer",
            "name",
            "unit",
        ),
        *("anlagenkennzeichen", "station", "plc", "item"),
    ),
}
FIELDS = tuple(_WORDS)
# A title that starts with one of these is of the field too, as `IP address (X1)` or `Subnet mask PN`.
_STARTS: tuple[tuple[str, str], ...] = (
    *(("mask", start) for start in ("subnetmask", "netmask", "subnetzmaske", "subnetmaske", "netzmaske")),
    *(("gateway", start) for start in ("gateway", "defaultgateway", "standardgateway")),
    *(("mac", start) for start in ("macaddress", "macadresse", "macaddr")),
    *(("address", start) for start in ("ipaddress", "ipadresse", "ipaddr", "ipadr", "ipv4")),
)
_PHRASES = re.compile(r"[()/,|\[\]]|\n")
_INTERFACE_IN_TITLE = re.compile(r"(?i)\b(?:ipv4|ip|addresse?s?|adressen?|addr|adr)\b|[^\w.-]+")


def mapping_from(texts: Sequence[str]) -> dict[str, str]:
    """Read `--map` values such as `Tag=device`: the field of a title, by its letters and digits."""
    mapped = {}
    for text in texts:
        title, equals, name = text.rpartition("=")
        name = name.strip().casefold()
        if not equals or not plain_title(title) or name not in (*FIELDS, LEAVE_OUT):
            do = f'Write it as "title=field"; fields are {listed([*sorted(FIELDS), LEAVE_OUT], 30)} (left out)'
            raise UsageError(Problem(f"--map {safe(text, 60)!r} names no title and field", do=do))
        mapped[plain_title(title)] = name
    return mapped


@dataclass(frozen=True, slots=True)
class AddressColumns:
    """A column of addresses and the columns of mask, gateway and MAC that belong to it; -1 without one."""

    address: int
    mask: int
    gateway: int
    mac: int
    interface: str  # the name of its interface from the title, or empty


@dataclass(frozen=True, slots=True)
class ListLayout:
    """The row of titles, the titles themselves, the column of each other field, and the columns of addresses."""

    row: int
    titles: tuple[str, ...]
    fields: Mapping[str, int]
    addresses: tuple[AddressColumns, ...]
    ignored: frozenset[int]
    guessed: tuple[str, ...] = ()

    def title(self, column: int) -> str:
        """Return the title of a column, or its number where it has none."""
        titled = column < len(self.titles) and self.titles[column]
        return self.titles[column] if titled else f"column {column + 1}"

    def is_repeated_in(self, cells: Sequence[str]) -> bool:
        """Return whether a row repeats the titles."""
        return _titles(cells)[: len(self.titles)] == list(self.titles)


def layout_of(records: Sequence[Record], mapped: Mapping[str, str]) -> ListLayout | None:
    """Return the layout of a table by its first rows, or None where no row has titles of a device list.

    `mapped` gives the field of a title, as `--map` does; titles are compared by letters and digits.
    """
    head, score = None, 1
    for record in records[:HEADER_ROWS]:
        if any(map(holds_address, record.cells)):
            continue
        found = [field for cell in record.cells if (field := _field_of(cell, mapped))]
        if len(set(found)) > score and {"device", "address", "host-name", "mac"} & set(found):
            head, score = record, len(set(found))
    head = head or _single_title(records, mapped)
    if head is None:
        return None
    above = next((one for one in reversed(records) if one.row == head.row - 1), None)
    titles = _titles(_completed(head.cells, above.cells if above else ()))
    body = [record for record in records if record.row > head.row]
    return _layout(head.row, titles, body, mapped)


def _single_title(records: Sequence[Record], mapped: Mapping[str, str]) -> Record | None:
    """The first row with a single known title of a device list, if addresses or MACs follow in the next row."""
    for record, after in pairwise(records[:HEADER_ROWS]):
        fields = {_field_of(cell, mapped) for cell in record.cells}
        if any(map(holds_address, record.cells)) or not {"device", "address", "host-name"} & fields:
            continue
        if any(holds_address(cell) or _is_mac(cell) for cell in after.cells):
            return record
    return None


def _titles(cells: Sequence[str]) -> list[str]:
    return [" ".join(cell.split()) for cell in cells]


def _completed(cells: Sequence[str], above: Sequence[str]) -> list[str]:
    """Give a column without a title the one of the row above, where that has two rows of titles."""
    return [cell if cell.strip() or at >= len(above) else above[at] for at, cell in enumerate(cells)]


def _field_of(title: str, mapped: Mapping[str, str]) -> str:
    plain = plain_title(title)
    if plain in mapped:
        return mapped[plain]
    for words in (plain, *map(plain_title, _PHRASES.split(title))):  # the title, then its parts: `Tag (BMK)`
        if found := next((field for field, known in _WORDS.items() if words and words in known), ""):
            return found
    return next((field for field, start in _STARTS if plain.startswith(start)), "")


def _layout(row: int, titles: Sequence[str], body: Sequence[Record], mapped: Mapping[str, str]) -> ListLayout:
    columns: dict[str, list[int]] = {}
    ignored = set()
    for column, title in enumerate(titles):
        field = _field_of(title, mapped)
        if field == LEAVE_OUT:
            ignored.add(column)
        elif field:
            columns.setdefault(field, []).append(column)
    guessed = []
    for field, test in (("address", holds_address), ("mac", _is_mac)):
        if field not in columns and (likely := _by_cells(body, columns, test)) is not None:
            columns[field] = [likely]
            title = titles[likely] if likely < len(titles) and titles[likely] else f"column {likely + 1}"
            guessed.append(f'the column "{title}" holds the {"addresses" if field == "address" else "MACs"}')
    addresses = tuple(_address_columns(columns, titles))
    single = ("address", "mask", "gateway", "mac")
    fields = {field: several[0] for field, several in columns.items() if field not in single}
    return ListLayout(row, tuple(titles), fields, addresses, frozenset(ignored), tuple(guessed))


def _address_columns(columns: Mapping[str, Sequence[int]], titles: Sequence[str]) -> list[AddressColumns]:
    found = columns.get("address", [-1])
    several = len(found) > 1
    result = []
    for at, column in enumerate(found):
        end = found[at + 1] if at + 1 < len(found) else 1 << 30
        mask, gateway, mac = (_belonging(columns.get(field, ()), column, end) for field in ("mask", "gateway", "mac"))
        words = _INTERFACE_IN_TITLE.sub(" ", titles[column]).split() if several else []
        result.append(AddressColumns(column, mask, gateway, mac, "-".join(words).casefold().strip("-.")))
    return result


def _belonging(columns: Sequence[int], start: int, end: int) -> int:
    """The column between an address and the next, or the only one there is."""
    inside = [column for column in columns if start < column < end]
    return inside[0] if inside else columns[0] if len(columns) == 1 else -1


def _by_cells(body: Sequence[Record], columns: Mapping[str, list[int]], test: Callable[[str], bool]) -> int | None:
    """The column without a field whose cells fit most often, at least in two rows."""
    taken = {column for several in columns.values() for column in several}
    counts: dict[int, int] = {}
    for record in body:
        for column, cell in enumerate(record.cells):
            if column not in taken and cell.strip() and test(cell):
                counts[column] = counts.get(column, 0) + 1
    best: int | None = max(counts, key=lambda each: (counts[each], -each), default=None)
    return best if best is not None and counts[best] > 1 else None


def _is_mac(text: str) -> bool:
    try:
        return mac_from(text) is not None
    except ValueError:
        return False
