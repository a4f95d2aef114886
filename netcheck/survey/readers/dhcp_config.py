"""Reads the reservations and ranges of a DHCP server from its configuration or from a dump of its commands.

It reads five notations: blocks (`host plc { hardware ethernet MAC; fixed-address ADDRESS; }`), commands that end in
`reservedip ADDRESS MAC "name" "comment"`, settings (`dhcp-host=MAC,name,ADDRESS`), the commands `ip dhcp pool NAME` of
routers with `host`, `network` and `ip dhcp excluded-address`, and JSON with `ip-address` and `hw-address`.

A reserved address is a host. The server assigns the addresses of a range, except the excluded ones; a remark says that
the range belongs in the plan's `pools`.
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator

from netcheck.addr import Address, Range, is_address, ranges_without
from netcheck.errors import Problem, SurveyError
from netcheck.files import MIB
from netcheck.plan.cells import prefix_from
from netcheck.survey.gathering import Gathering, Source, head_lines
from netcheck.survey.readers.values import mac_from
from netcheck.tables.delimited import encoding_of
from netcheck.text import safe

JSON_LIMIT = 16 * MIB
NOTE = "DHCP reservation"
_KNOWN = re.compile(
    r"\s*(?:subnet\s+[\d.]+\s+netmask\s|host\s+\S{1,200}\s*\{|fixed-address\s|dhcp-(?:host|range)=)"
    r"|\s*ip dhcp (?:pool|excluded-address)\s"
    r"|.{0,300}\s(?:reservedip|iprange|excluderange)\s+\d",
    re.IGNORECASE,
)
_JSON = re.compile(
    r"\s*(?>(?://|#)[^\n]{0,1000}\n\s*|/\*.{0,10000}?\*/\s*){0,200}+\{"
    r'.{0,60000}"(?:subnet[46]|reservations|pools)"\s*:',
    re.DOTALL,
)
_HOST = re.compile(r"\s*host\s+(\S{1,200})\s*\{(.*)", re.IGNORECASE)
_HARDWARE = re.compile(r"hardware\s+ethernet\s+([0-9A-Fa-f:.-]{1,40})", re.IGNORECASE)
_FIXED = re.compile(r"fixed-address6?\s+([^;{}]{1,400})", re.IGNORECASE)
_RANGE = re.compile(r"(?:^|[{;])\s*(?:range6?\s+|dhcp-range=)([^;#{}]{1,200})", re.IGNORECASE)
_COMMAND = re.compile(r"\s(reservedip|iprange|excluderange)\s+(\S{1,60})\s+(\S{1,60})(.*)", re.IGNORECASE)
_POOL = re.compile(r"\s*ip dhcp pool\s+(\S.{0,200})", re.IGNORECASE)
_EXCLUDED = re.compile(r"\s*ip dhcp excluded-address\s+(?:vrf\s+\S+\s+)?(\S{1,60})(?:\s+(\S{1,60}))?", re.IGNORECASE)
_OF_POOL = re.compile(
    r"\s+(host|network|client-identifier|hardware-address|client-name)\s+(\S{1,200})(?:\s+(\S{1,60}))?", re.IGNORECASE
)
# A client's identifier that begins with the type of its hardware, 1 for Ethernet (RFC 2132 section 9.14).
_CLIENT = re.compile(r"(?:id:)?01[.:-]?((?:[0-9a-f]{2}[.:-]?){5}[0-9a-f]{2})", re.IGNORECASE)
# A comment in a JSON file, or a quoted text. Quoted texts are matched because they may contain comment signs.
_COMMENT = re.compile(r'("(?:[^"\\]|\\.)*+\\?(?:"|\Z))|(?://|#)[^\n]*|/\*.*?(?:\*/|\Z)', re.DOTALL)
_QUOTED = re.compile(r'"([^"]*)"')


def recognises(head: bytes) -> bool:
    """Return whether a line has a notation of DHCP servers, or the file is JSON with subnets, pools or reservations."""
    return any(map(_KNOWN.match, head_lines(head))) or _is_json(head)


def _is_json(head: bytes) -> bool:
    return _JSON.match(head.decode("utf-8", "replace")) is not None


def read(source: Source, into: Gathering) -> None:
    """Read every reservation and range."""
    with source.open() as stream:
        is_json = _is_json(stream.read(1 << 16))
    if is_json:
        _read_json(source, into)
        return
    reader = _Lines(into)
    for number, line in source.lines():
        reader.read(number, line.partition("#")[0])
    reader.finish()


class _Lines:
    """Reads the notations that consist of lines; a `host` block may extend over several lines."""

    def __init__(self, into: Gathering) -> None:
        self._into = into
        self._name = self._mac = ""
        self._inside = False
        self._fixed: list[tuple[int, str]] = []  # addresses of the open block, kept because its MAC may follow
        self._in_pool = False
        self._ranges: list[tuple[int, Range]] = []
        self._excluded: list[Range] = []

    def finish(self) -> None:
        """Add the ranges without the excluded addresses; called at the end, because exclusions may follow ranges."""
        self._close()
        for number, part in ranges_without(self._ranges, self._excluded):
            self._into.add_range(part, number)

    def _range(self, number: int, text: str) -> None:
        self._ranges += [(number, span) for span in _range_of(number, text, self._into)]

    def read(self, number: int, line: str) -> None:
        """Read one line."""
        if command := _COMMAND.search(line):
            self._command(number, command)
        elif line.lstrip().casefold().startswith("dhcp-host="):
            self._setting(number, line.partition("=")[2])
        elif pool := _POOL.match(line):
            self._close()
            self._name, self._in_pool = pool[1].strip(), True
        elif excluded := _EXCLUDED.match(line):
            self._excluded += _span(number, f"{excluded[1]}-{excluded[2] or excluded[1]}", self._into)
        elif self._in_pool and line[:1] in " \t":
            self._of_pool(number, line)
        elif ranges := _RANGE.findall(line):
            for text in ranges:
                self._range(number, text)
        else:
            if host := _HOST.match(line):
                self._close()
                self._name, self._inside = host[1].strip('"'), True
                line = host[2]
            if self._inside:
                self._block(number, line)

    def _block(self, number: int, line: str) -> None:
        if hardware := _HARDWARE.search(line):
            self._mac = hardware[1]
        if fixed := _FIXED.search(line):
            self._fixed += [(number, text.strip()) for text in fixed[1].split(",")]
        if "}" in line:
            self._close()

    def _close(self) -> None:
        """End the block or pool: add its reservations, now that its MAC is known."""
        for number, text in self._fixed:
            _reserve(number, text, self._mac, self._name, self._into)
        self._fixed = []
        self._name = self._mac = ""
        self._inside = self._in_pool = False

    def _of_pool(self, number: int, line: str) -> None:
        """Read one line of an `ip dhcp pool` section."""
        found = _OF_POOL.match(line)
        match found and found[1].casefold():
            case "host" if found:
                self._fixed.append((number, found[2].partition("/")[0]))
            case "network" if found:
                self._network(number, f"{found[2]}/{found[3]}" if found[3] and "/" not in found[2] else found[2])
            case "client-identifier" if found:
                client = _CLIENT.fullmatch(found[2])
                self._mac = re.sub("[.:-]", "", client[1]) if client else ""
            case "hardware-address" if found:
                self._mac = re.sub("[.:-]", "", found[2])
            case "client-name" if found:
                self._name = found[2]

    def _network(self, number: int, text: str) -> None:
        """Add the range of a pool's network, without the network address and the broadcast address."""
        try:
            prefix = prefix_from(text)
        except ValueError as error:
            self._into.skip_cell(number, f"the network of a DHCP pool: {error}")
            return
        edge = 1 if prefix.size > 2 else 0
        first, last = prefix.first.value + edge, prefix.first.value + prefix.size - 1 - edge
        self._range(number, f"{Address(prefix.family, first)} {Address(prefix.family, last)}")

    def _command(self, number: int, found: re.Match[str]) -> None:
        word, first, second, rest = found.groups()
        if word.casefold() == "iprange":
            self._range(number, f"{first} {second}")
            return
        if word.casefold() == "excluderange":
            self._excluded += _span(number, f"{first}-{second}", self._into)
            return
        texts = _QUOTED.findall(rest)
        _reserve(number, first, second, texts[0] if texts else "", self._into, texts[1] if len(texts) > 1 else "")

    def _setting(self, number: int, text: str) -> None:
        """Read a `dhcp-host` setting: MAC, name, address and lease time in any order."""
        address = mac = name = ""
        for part in (part.strip().strip("[]") for part in text.split(",")[:20]):
            if not address and is_address(part):
                address = part
            elif not mac and part.count(":") == 5:
                mac = part
            elif not mac and (client := _CLIENT.fullmatch(part)):
                mac = client[1]
            elif not name and part and not re.match(r"(?:set|tag|id):|\d+[smhd]?$|infinite$|ignore$", part):
                name = part
        if address:
            _reserve(number, address, mac, name, self._into)
        else:
            self._into.remark_no_host(number, "a reservation without an address")


def _reserve(number: int, address: str, mac: str, name: str, into: Gathering, comment: str = "") -> None:
    try:
        value = Address.from_text(address)
    except ValueError as error:
        into.skip_row(number, f"the address of a reservation cannot be read: {error}")
        return
    into.add(value, into.attempt(number, mac_from, mac), number, name, f"{NOTE}; {comment}" if comment else NOTE, None)


def _range_of(number: int, text: str, into: Gathering) -> list[Range]:
    """Return the range in a text as a list of one, or an empty list; add a remark in both cases."""
    parts = re.split(r"[\s,;]+|-", text.strip())
    ends = [part for part in parts if is_address(part)]
    if ends:
        found = _span(number, "-".join((ends[0], ends[-1] if len(ends) < 3 else ends[1])), into)
    elif "/" in text:
        found = _span(number, parts[0], into)
    else:
        into.skip_cell(number, f"a range without an address: {safe(text.strip(), 60)}")
        return []
    for span in found:
        into.remark_no_host(number, f"the range {span} of a DHCP server belongs in `pools` of its subnet in the plan")
    return found


def _span(number: int, text: str, into: Gathering) -> list[Range]:
    try:
        return [Range.from_text(text)]
    except ValueError as error:
        into.skip_cell(number, f"a range of a DHCP server: {error}")
        return []


def _read_json(source: Source, into: Gathering) -> None:
    data = source.file.whole(JSON_LIMIT)
    encoding = encoding_of(io.BytesIO(data))
    text = data.decode("utf-8-sig" if encoding == "cp1252" else encoding, "replace")
    text = _COMMENT.sub(lambda found: found[1] or "\n" * found[0].count("\n"), text)  # keep the line numbers
    try:
        document = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise SurveyError(Problem(f"it is not valid JSON: {safe(str(error), 100)}", do="Export it again")) from error
    lines = _LineFinder(text)
    for entry in _objects(document):
        address, mac, name = (_text(entry, *keys) for keys in (_ADDRESS_KEYS, _MAC_KEYS, _NAME_KEYS))
        if address:
            _reserve(lines.line_of(address), address, mac, name, into)
        elif pool := _text(entry, "pool"):
            line = lines.line_of(pool)
            for span in _range_of(line, pool, into):
                into.add_range(span, line)


class _LineFinder:
    """Finds the line numbers of quoted texts; the caller asks in the order in which the texts stand in the file."""

    def __init__(self, text: str) -> None:
        self._text, self._at, self._line = text, 0, 1

    def line_of(self, text: str) -> int:
        """Return the line of the next occurrence of a quoted text, or 0 if it is not found in this spelling."""
        at = self._text.find(f'"{text}"', self._at)
        if at < 0:
            return 0
        self._line += self._text.count("\n", self._at, at)
        self._at = at
        return self._line


_ADDRESS_KEYS, _MAC_KEYS, _NAME_KEYS = ("ip-address", "ip_address"), ("hw-address", "hw_address"), ("hostname", "name")


def _text(entry: dict[str, object], *keys: str) -> str:
    return next((value for key in keys if isinstance(value := entry.get(key), str)), "")


def _objects(document: object) -> Iterator[dict[str, object]]:
    """Yield all objects of a JSON document in the order of the file."""
    waiting = [document]
    while waiting:
        value = waiting.pop()
        if isinstance(value, dict):
            yield value
            waiting += reversed(list(value.values()))
        elif isinstance(value, list):
            waiting += reversed(value)
