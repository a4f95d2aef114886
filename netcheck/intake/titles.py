"""The titles of device lists in English and German: finds the field of a column by its title or by `--map`."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from netcheck.errors import Problem, UsageError
from netcheck.survey.readers.header import TITLES, plain_title
from netcheck.text import listed, safe

LEAVE_OUT = "-"  # the field of a column that is left out

# Titles by field, reduced to letters and digits, in English and German; common practice, no source.
FIELD_TITLES: dict[str, tuple[str, ...]] = {
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
    "unit": (
        *("anlage", "anlagenteil", "anlagenbereich", "linie", "maschine", "bereich", "zelle", "teilanlage"),
        *("line", "productionline", "machine", "area", "cell", "plantarea", "system"),
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
        *("anlagenkennzeichen", "station", "plc", "item", "usedby", "assignedto", "belegtdurch", "verwendetvon"),
    ),
}
FIELDS = tuple(FIELD_TITLES)
# A title that starts with one of these has the field as well: `IP address (X1)` or `Subnet mask PN`.
_STARTS: tuple[tuple[str, str], ...] = (
    *(("mask", start) for start in ("subnetmask", "netmask", "subnetzmaske", "subnetmaske", "netzmaske")),
    *(("gateway", start) for start in ("gateway", "defaultgateway", "standardgateway")),
    *(("mac", start) for start in ("macaddress", "macadresse", "macaddr")),
    *(("address", start) for start in ("ipaddress", "ipadresse", "ipaddr", "ipadr", "ipv4")),
)
_PHRASES = re.compile(r"[()/,|\[\]]|\n")


def mapping_from(texts: Sequence[str]) -> dict[str, str]:
    """Return the fields in `--map` values such as `Tag=device` by title, reduced to letters and digits.

    UsageError if a value does not name a title and a field.
    """
    mapped = {}
    for text in texts:
        title, equals, name = text.rpartition("=")
        name = name.strip().casefold()
        if not equals or not plain_title(title) or name not in (*FIELDS, LEAVE_OUT):
            do = f'Write it as "title=field"; fields are {listed([*sorted(FIELDS), LEAVE_OUT], 30)} (left out)'
            raise UsageError(Problem(f"--map {safe(text, 60)!r} is not a title and a field", do=do))
        mapped[plain_title(title)] = name
    return mapped


def field_of(title: str, mapped: Mapping[str, str]) -> str:
    """Return the field of a title, or the empty text."""
    plain = plain_title(title)
    if plain in mapped:
        return mapped[plain]
    for words in (plain, *map(plain_title, _PHRASES.split(title))):  # the title, then its parts: `Tag (BMK)`
        if found := next((field for field, known in FIELD_TITLES.items() if words and words in known), ""):
            return found
    return next((field for field, start in _STARTS if plain.startswith(start)), "")
