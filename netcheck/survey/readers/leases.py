"""Reads the leases of a DHCP server from blocks or from lines.

Blocks are `lease ADDRESS { ... }`, or `iaaddr ADDRESS { ... }` inside the `ia-na` blocks of IPv6. Lines have five
values: the end of the lease in seconds since 1970, MAC, address, name and client identifier; `*` is an unknown value.

The last block of an address is the valid one (dhcpd.leases(5)). An active lease is a host. An abandoned lease is a
suspect host, because a host without a lease answered there.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, date, datetime

from netcheck.addr import Address, Mac
from netcheck.survey.gathering import Gathering, Source, head_lines
from netcheck.survey.readers.values import mac_from
from netcheck.text import safe

_KNOWN = re.compile(
    r'\s*(?:lease\s+[\d.]+\s*(?:\{|$)|authoring-byte-order\s|server-duid\s|failover\s+peer\s.*\{|ia-[nt]a\s+".*\{)'
    r"|# The format of this file is documented in the dhcpd\.leases"
)
_LINE = re.compile(r"(\d{9,12}|0) ((?:[0-9A-Fa-f]{2}:){5}[0-9A-Fa-f]{2}) (\d+(?:\.\d+){3}) (\S+) \S+\s*", re.ASCII)
_TOKEN = re.compile(r'"(?:[^"\\]|\\.)*"?|[{};]|\#.*|[^\s{};"#]+')
_ESCAPE = re.compile(r"\\([0-7]{1,3}|.)")
_DAY = re.compile(r"(\d{4})/(\d\d?)/(\d\d?)", re.ASCII)
_LATEST = 253402300799  # 9999-12-31, the last second that a date can hold
_STATES = {"active", "abandoned"}
_LEASE = {"lease", "iaaddr"}  # IPv4, and the addresses inside the `ia-na` and `ia-ta` blocks of IPv6


def recognises(head: bytes) -> bool:
    """Return whether a line occurs only in files of leases, or the first line is a lease of five values."""
    lines = head_lines(head)
    return any(map(_KNOWN.match, lines)) or _is_of_lines(lines)


def _is_of_lines(lines: Sequence[str]) -> bool:
    return bool(lines) and _LINE.fullmatch(lines[0]) is not None


def read(source: Source, into: Gathering) -> None:
    """Read every block and keep the last one of each address."""
    with source.open() as stream:
        of_lines = _is_of_lines(head_lines(stream.read(1 << 13)))
    if of_lines:
        _read_lines(source, into)
        return
    latest: dict[Address, _Lease] = {}
    for lease in _Blocks(into).read(_tokens(source.lines())):
        try:
            address = Address.from_text(lease.address)
        except ValueError as error:
            into.skip_row(lease.line, str(error))
            continue
        latest[address] = lease
    last = source.entry.taken or max(filter(None, (_last_change(lease) for lease in latest.values())), default=None)
    for address, lease in latest.items():
        _add(address, lease, last, into)


def _read_lines(source: Source, into: Gathering) -> None:
    for number, line in source.lines():
        found = _LINE.fullmatch(line)
        if found is None:
            if line.strip() and not line.startswith("duid "):  # the server's own identifier precedes IPv6 leases
                into.skip_row(number, f"{safe(line.strip(), 80)!r} does not have the shape of a lease")
            continue
        ends, mac, address, name = found.groups()
        lease = _Lease(number, address, "active", mac, "" if name == "*" else name)
        if ends != "0":
            lease.days["ends"] = f"epoch {ends}"
        try:
            _add(Address.from_text(address), lease, source.entry.taken, into)
        except ValueError as error:
            into.skip_row(number, str(error))


@dataclass(slots=True)
class _Lease:
    """One lease as text; filled while its block is read."""

    line: int
    address: str
    state: str = ""
    mac: str = ""
    name: str = ""
    days: dict[str, str] = field(default_factory=dict)  # the time of each statement `starts`, `ends` and `cltt`


def _last_change(lease: _Lease) -> date | None:
    """Return the day of the last change of a lease, or None if it cannot be read; the file is at least that recent."""
    for what in ("cltt", "starts"):
        with suppress(ValueError):
            if what in lease.days and (day := _day(lease.days[what])):
                return day
    return None


def _add(address: Address, lease: _Lease, last: date | None, into: Gathering) -> None:
    """Add the lease of an address; `last` is the day of the list, None if it is not known."""
    state = lease.state or "active"  # a lease without a state is treated as active
    if state not in _STATES:
        into.remark_no_host(lease.line, f"the lease of {address} is {safe(state, 40)}")
        return
    mac: Mac | None = into.attempt(lease.line, mac_from, lease.mac)
    days = {what: into.attempt(lease.line, _day, text) for what, text in lease.days.items()}
    note = "DHCP lease" if lease.state else "DHCP lease without a state"
    if state == "abandoned":
        note = "abandoned DHCP lease: a host without a lease answered there; a suspect host"
    elif ends := days.get("ends"):
        over = last is not None and ends < last
        note += f" that expired on {ends}: the address may still be in use" if over else f" until {ends}"
    into.add(address, mac, lease.line, lease.name, note, days.get("cltt") or days.get("starts"))


def _tokens(lines: Iterator[tuple[int, str]]) -> Iterator[tuple[int, str]]:
    """Yield the words, quoted texts, braces and semicolons with their line numbers; comments are left out."""
    for number, line in lines:
        for found in _TOKEN.finditer(line):
            if not found[0].startswith("#"):
                yield number, found[0]


class _Blocks:
    """Finds the lease blocks in a file."""

    def __init__(self, into: Gathering) -> None:
        self._into = into

    def read(self, tokens: Iterator[tuple[int, str]]) -> Iterator[_Lease]:
        """Yield each closed block; an unclosed block becomes a remark, and nested blocks are skipped."""
        lease: _Lease | None = None
        words: list[str] = []
        depth = 0
        for line, token in tokens:
            if token == "{" and len(words) > 1 and words[-2] in _LEASE:  # other text may precede it
                self._unclosed(lease)
                lease, depth = _Lease(line, words[-1]), 0
            elif token == "{":
                depth += 1
            elif token == "}" and depth:
                depth -= 1
            elif token == "}" and lease is not None:
                yield lease
                lease = None
            elif token == ";" and lease is not None and depth == 0:
                self._read_statement(lease, words, line)
            elif token not in {";", "}"}:
                words = [*words[-5:], token]  # no statement that is read has more words
                continue
            words = []
        self._unclosed(lease)

    def _unclosed(self, lease: _Lease | None) -> None:
        if lease is not None:
            self._into.skip_row(lease.line, f"the block of lease {safe(lease.address, 60)} is not closed")

    def _read_statement(self, lease: _Lease, words: list[str], line: int) -> None:
        match words:
            case ["binding", "state", state]:
                lease.state = state.lower()
            case ["abandoned"]:  # the notation of older servers
                lease.state = "abandoned"
            case ["hardware", "ethernet", mac]:
                lease.mac = mac
            case ["client-hostname", name]:
                lease.name = self._unquoted(name, line)
            case [("starts" | "ends" | "cltt") as what, *rest]:
                lease.days[what] = " ".join(rest)

    def _unquoted(self, text: str, line: int) -> str:
        if not text.startswith('"'):
            return text
        if len(text) < 2 or not text.endswith('"'):
            self._into.skip_cell(line, "a quote is not closed")
        return _ESCAPE.sub(_escaped, text[1:].removesuffix('"'))


def _escaped(found: re.Match[str]) -> str:
    return chr(int(found[1], 8) & 255) if found[1].isdecimal() else found[1]


def _day(text: str) -> date | None:
    """Return the day in UTC of `4 2026/01/15 08:00:00` or `epoch 1768464000`; None for `never`, else ValueError."""
    words = text.split()
    match words:
        case ["never", *_]:
            return None
        case ["epoch", seconds, *_] if seconds.isdecimal() and int(seconds[:15]) <= _LATEST:
            return datetime.fromtimestamp(int(seconds), UTC).date()
        case [_, day, *_] if found := _DAY.fullmatch(day):
            return date(int(found[1]), int(found[2]), int(found[3]))
    raise ValueError(f"{safe(text, 60)!r} is not a time such as 4 2026/01/15 08:00:00")
