"""Reads neighbour tables of `ip neigh`, `ip -j neigh`, `arp`, /proc/net/arp, routers and switches, in any language.

An entry is recognised by its shape, because systems translate headings and words but not shapes.
"""

from __future__ import annotations

import io
import json
import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from netcheck.addr import Address, is_address
from netcheck.errors import Problem, SurveyError
from netcheck.files import MIB
from netcheck.survey.gathering import Gathering, Source, head_lines
from netcheck.survey.readers.values import mac_from, why_no_host
from netcheck.tables.delimited import encoding_of
from netcheck.text import safe

_JSON = re.compile(r'\s*\[\s*(?:\{(?:[^{}]{0,4000}[{,\s])?"dst"|\]\s*$)')
# All repetitions are bounded; otherwise the time for a line would grow with the square of its length.
_NUMBERS = re.compile(
    r"(?<!\d)\d{1,3}(?:\.\d{1,3}){3}|(?<![0-9A-Fa-f])[0-9A-Fa-f]{1,4}(?::[0-9A-Fa-f]{0,4}){2}", re.ASCII
)
JSON_LIMIT = 16 * MIB  # a kernel's table has thousands of entries of some hundred bytes each
_DOTTED = re.compile(r"(?<![\d.])\d{1,3}(?:\.\d{1,3}){3}(?![\d.])", re.ASCII)
_MAC_TITLE = re.compile(r"(?i)\b(?:link-?layer|hardware|hw|mac|lladdr)")
_MAC_WIDTH = 13  # characters of the shortest notation, 00005e-005314
_SEPARATED = re.compile(r"[,;|\t]")
_NO_ANSWER = {"failed", "incomplete", "none", "unreachable"}
_TYPED = "permanent entry, typed by a person or the computer's own: no evidence of a host"
_PUBLISHED = "published entry, for which the computer itself answers: no evidence of a host"
_ADDRESS = re.compile(r"\d+(?:\.\d+){3}|(?=[^:]*:[^:]*:)[0-9A-Fa-f:][0-9A-Fa-f:.]*(?:%\S+)?", re.ASCII)
_MAC = re.compile(r"[0-9A-Fa-f]{1,2}([:-])[0-9A-Fa-f]{1,2}(?:\1[0-9A-Fa-f]{1,2}){4}", re.ASCII)
# `Interface: 192.0.2.10 --- 0xb`; the first word may be in any language.
_WINDOWS_INTERFACE = re.compile(r"\S.*:[ \t]*[\d.]+[ \t]+---[ \t]+0x[0-9A-Fa-f]+\s*", re.ASCII)
_PARENTHESES = re.compile(r"\s*(\S+)[ \t]+\(([^()]*)\)[ \t]+at[ \t]+(\S+)(.*)", re.ASCII)
_GROUPED_MAC = re.compile(
    r"[0-9A-Fa-f]{4}([.-])[0-9A-Fa-f]{4}\1[0-9A-Fa-f]{4}|[0-9A-Fa-f]{6}[.-][0-9A-Fa-f]{6}", re.ASCII
)
_MAC_TITLES = frozenset({"mac", "hardware", "hwaddr", "hw", "lladdr", "ethernet", "linklayeraddress", "macaddress"})
_ADDRESS_TITLES = frozenset({"address", "ip", "ipaddress", "destination"})
# The identifier of a DHCP client on Ethernet in a router's list of bindings: 0100.005e.0053.14 (RFC 2132 section 9.14).
_CLIENT = re.compile(r"01((?:[0-9A-Fa-f]{2}\.[0-9A-Fa-f]{2}){3})", re.ASCII)
_STATES = frozenset({"permanent", "noarp", "reachable", "stale", "none", "incomplete", "delay", "probe", "failed"})
_HARDWARE = frozenset({"ether", "*", "loop", "infiniband", "ieee802"})
_FLAGS = re.compile(r"[CMP!]+")
# The first letters of the word for a static entry, without accents: English, most European languages, Chinese and
# Japanese, Korean. From memory of the translations. If a word is unknown, only the note is lost.
_STATIC = ("stat", "staat", "est", "\u0441\u0442\u0430\u0442", "\u03c3\u03c4\u03b1\u03c4", "\u9759", "\u975c", "\uc815")
_PROC_PERMANENT, _PROC_COMPLETE, _PROC_PUBLISHED = 4, 2, 8  # flags of /proc/net/arp, from memory


def recognises(head: bytes) -> bool:
    """Return whether the file is the JSON of `ip -j`, or most of its lines are entries or headings of such a table."""
    lines = head_lines(head)
    if _JSON.match("\n".join(lines)):
        return True
    plain = any(map(is_plain_heading, lines))
    sure = sum((entry_in(line) if plain else sure_entry_in(line)) is not None for line in lines)
    if sure > 0 and 2 * (sure + sum(map(is_heading, lines))) >= len(lines):
        return True
    return _mostly_entries(lines)


def _mostly_entries(lines: Sequence[str]) -> bool:
    """Return whether most lines with an address are entries whose words are separated by blanks.

    Lines without an address do not count, because routers and switches print prompts, totals and legends.
    """
    addressed = [line for line in lines if _DOTTED.search(line) or entry_in(line)]
    entries = [line for line in addressed if not _SEPARATED.search(line.strip()) and "#" not in line and entry_in(line)]
    return bool(entries) and 2 * len(entries) > len(addressed)


def read(source: Source, into: Gathering) -> None:
    """Read every entry; an entry without an answer is no host."""
    with source.open() as stream:
        is_json = _JSON.match("\n".join(head_lines(stream.read(1 << 13)))) is not None
    if is_json:
        for number, entry in _entries_of(source, into):
            _add(number, entry, into)
        return
    mac_at = -1  # the character position of the MAC column, from its title
    for number, line in source.lines():
        if is_heading(line) and (title := _MAC_TITLE.search(line)):
            mac_at = title.start()
        if (found := entry_in(line)) is not None:
            _add(number, found, into)
        elif mac_at > 0 and _NUMBERS.search(line) and not line[mac_at : mac_at + _MAC_WIDTH].strip():
            into.remark_no_host(number, f"{safe(line.strip(), 80)!r} has no MAC: nothing answered")
        elif _NUMBERS.search(line) and not is_heading(line):
            into.skip_row(number, f"{safe(line.strip(), 80)!r} does not have the shape of an entry")
        elif line.strip():
            into.remark_no_host(number, "it is not an entry")


def _add(number: int, entry: NeighbourEntry, into: Gathering) -> None:
    try:
        address = Address.from_text(entry.address.partition("%")[0])
    except ValueError as error:
        into.skip_row(number, str(error))
        return
    if why := _why_no_entry(address, entry):
        into.remark_no_host(number, f"{address}: {why}")
        return
    mac = into.attempt(number, mac_from, entry.mac)
    if mac is not None and mac.group:
        into.remark_no_host(number, f"{address}: {mac} is a multicast MAC")
        return
    into.add(address, mac, number, entry.name, _note(entry), None)


def _why_no_entry(address: Address, entry: NeighbourEntry) -> str:
    if why := why_no_host(address):
        return why
    if entry.state in _NO_ANSWER and not entry.published:
        return f"nothing answered ({entry.state})"
    return "its MAC is not that of a host" if re.fullmatch("[0:-]+|[Ff:-]+", entry.mac) else ""


def _note(entry: NeighbourEntry) -> str:
    if entry.published:
        return _PUBLISHED
    if entry.typed:
        return _TYPED
    return f"{entry.state} neighbour entry" if entry.state else ""


def _entries_of(source: Source, into: Gathering) -> Iterator[tuple[int, NeighbourEntry]]:
    """Yield the entries of a JSON table with their line numbers; an object that is no entry becomes a remark.

    Raises SurveyError if the file is not a JSON array of objects.
    """
    try:
        data = source.file.whole(JSON_LIMIT)
        encoding = encoding_of(io.BytesIO(data))
        text = data.decode("utf-8-sig" if encoding == "cp1252" else encoding)
    except UnicodeDecodeError as error:
        raise _broken(0, "it is not UTF-8, which JSON must be (RFC 8259 section 8.1)") from error
    line, at = 1, 0
    for start, end, value in _json_values(text):
        line, at = line + text.count("\n", at, start), start
        entry = _json_entry(value)
        if entry is None:
            into.skip_row(line, f"the object of {end - start} characters is no entry: it has no text `dst`")
        else:
            yield line, entry


def _json_values(text: str) -> Iterator[tuple[int, int, object]]:
    """Yield the start, the end and the value of each object in the arrays; SurveyError at the first broken object."""
    decoder, at, depth = json.JSONDecoder(), 0, 0
    while (at := _past(text, at, ", \t\r\n")) < len(text):
        match text[at]:
            case "[" if depth == 0:
                depth, at = 1, at + 1
            case "]" if depth == 1:
                depth, at = 0, at + 1
            case "{" if depth == 1:
                start = at
                try:
                    value, at = decoder.raw_decode(text, start)
                except (ValueError, RecursionError) as error:
                    raise _broken(text.count("\n", 0, start) + 1, "an object in it is broken") from error
                yield start, at, value
            case _:
                raise _broken(text.count("\n", 0, at) + 1, "an array of objects is expected")
    if depth:
        raise _broken(text.count("\n") + 1, "it ends inside its array")


def _past(text: str, at: int, blanks: str) -> int:
    while at < len(text) and text[at] in blanks:
        at += 1
    return at


def _broken(line: int, why: str) -> SurveyError:
    where = f"line {line}: " if line else ""
    return SurveyError(Problem(f"{where}{why}", do="Take the table again with `ip -j neigh`"))


def _json_entry(value: object) -> NeighbourEntry | None:
    if not isinstance(value, dict) or not isinstance(value.get("dst"), str):
        return None
    mac, states = value.get("lladdr"), value.get("state")
    words = [one.lower() for one in states if isinstance(one, str)] if isinstance(states, list) else []
    state = words[0] if words else ""
    return NeighbourEntry(
        value["dst"],
        mac if isinstance(mac, str) else "",
        "",
        state,
        state in {"permanent", "noarp"},
        "proxy" in value,
    )


@dataclass(frozen=True, slots=True)
class NeighbourEntry:
    """One entry as text.

    `state` is in lower case, empty if not given. `typed` marks a static entry or the computer's own address.
    `published` means that the computer itself answers for the address (proxy ARP).
    """

    address: str
    mac: str = ""
    name: str = ""
    state: str = ""
    typed: bool = False
    published: bool = False


def is_heading(line: str) -> bool:
    """Return whether a line is a heading of /proc/net/arp or net-tools, or one that `is_plain_heading` accepts."""
    titles = line.split()[:4]
    net_tools = titles[:2] == ["Address", "HWtype"] or titles == ["IP", "address", "HW", "type"]
    return net_tools or is_plain_heading(line)


def is_plain_heading(line: str) -> bool:
    """Return whether a line is a heading above plain entries, which begin with an address and a MAC.

    Such headings are the line of an interface on Windows, the titles of `arp -a` on OpenBSD or of `arp -l` on macOS
    (from memory), and those of routers and switches.
    """
    columns = line.split()[:3] in (["Host", "Ethernet", "Address"], ["Neighbor", "Linklayer", "Address"])
    return columns or _WINDOWS_INTERFACE.fullmatch(line) is not None or _is_router_heading(line)


def _is_router_heading(line: str) -> bool:
    """Return whether a line without addresses has the titles of the ARP table of a router or switch."""
    words = set(re.split(r"[^a-z]+", line.casefold()[:400]))
    has_both = bool(words & _ADDRESS_TITLES) and bool(words & _MAC_TITLES)
    return has_both and not re.search(r"[,;|\t]|\d\.\d", line)


def sure_entry_in(line: str) -> NeighbourEntry | None:
    """Return the entry of a line if its shape occurs only in neighbour tables; None otherwise."""
    words = _words(line)
    if found := _in_parentheses(line):
        return found
    if words[0].casefold() == "internet":  # `Internet  192.0.2.20  5  0000.5e00.5314  ARPA  Vlan20`
        return _anywhere(words)
    if not words or not _ADDRESS.fullmatch(words[0]):
        return None
    windows = line[:1] in " \t" and len(words) == 3 and "-" in words[1]
    return _of_ip(words) or _of_proc(words) or _of_columns(words) or (_plain(words) if windows else None)


def entry_in(line: str) -> NeighbourEntry | None:
    """Return the entry of a line, or None; one address and one MAC on a line are enough."""
    words = _words(line)
    plain = _plain(words) if words and _ADDRESS.fullmatch(words[0]) else None
    return sure_entry_in(line) or plain or _anywhere(words)


def _anywhere(words: list[str]) -> NeighbourEntry | None:
    """Read a line with one address and either one MAC or the word `incomplete`, in any columns.

    Routers and switches print their ARP tables in many orders, and MACs as 0000.5e00.5314, 0000-5e00-5314 or
    00005e-005314.
    """
    words = [word.strip("()[],") for word in words[:40]]
    addresses = {word for word in words if _ADDRESS.fullmatch(word) and _is_address(word)}
    macs = [word for word in words if _MAC.fullmatch(word) or _GROUPED_MAC.fullmatch(word)]
    macs = macs or [client[1] for word in words if (client := _CLIENT.fullmatch(word))]
    lower = {word.casefold() for word in words}
    if len(addresses) != 1 or len(macs) > 1:
        return None
    address = addresses.pop()
    if macs:
        mac = macs[0] if _MAC.fullmatch(macs[0]) else re.sub("[.-]", "", macs[0])
        return NeighbourEntry(address, mac, typed=not lower.isdisjoint({"static", "permanent"}))
    return NeighbourEntry(address, state="incomplete") if "incomplete" in lower else None


def _is_address(word: str) -> bool:
    """Return whether a word is an address, with or without a zone; a time and a MAC with colons are not."""
    return is_address(word.partition("%")[0])


def _words(line: str) -> list[str]:
    return re.split("[ \t]+", line.strip(" \t"))  # any other blank may be a letter in another code page


def _in_parentheses(line: str) -> NeighbourEntry | None:
    """Read the form of net-tools, macOS and BSD: `? (192.0.2.20) at 00:00:5e:00:53:14 [ether] PERM on eth0`."""
    found = _PARENTHESES.fullmatch(line)
    if found is None:
        return None
    name, address, mac, rest = found.groups()
    flags = set(re.split(r"[\s()]+", rest.casefold()))
    return NeighbourEntry(
        address,
        mac if _MAC.fullmatch(mac) else "",
        "" if name == "?" else name,
        "incomplete" if "incomplete" in mac else "",
        not flags.isdisjoint({"perm", "permanent", "static"}),
        not flags.isdisjoint({"pub", "published"}),
    )


def _of_ip(words: list[str]) -> NeighbourEntry | None:
    """Read the form of `ip neigh`: `192.0.2.20 dev eth0 lladdr 00:00:5e:00:53:14 router STALE`.

    `ip neigh show dev eth0` leaves `dev eth0` out.
    """
    states = [word.lower() for word in words[1:] if word.isupper() and word.lower() in _STATES]
    state = states[-1] if states else ""  # `proto static` may follow
    if "dev" not in words[1:2] and "lladdr" not in words and not state:
        return None
    known = dict(pairwise(words))
    typed = state in {"permanent", "noarp"}
    return NeighbourEntry(words[0], known.get("lladdr", ""), "", state, typed, "proxy" in words)


def _of_proc(words: list[str]) -> NeighbourEntry | None:
    """Read the form of /proc/net/arp: `192.0.2.22 0x1 0x6 00:00:5e:00:53:16 * eth0`."""
    if len(words) < 6 or not all(re.fullmatch("0x[0-9A-Fa-f]{1,8}", word) for word in words[1:3]):
        return None
    flags = int(words[2], 16)
    state = "" if flags & (_PROC_COMPLETE | _PROC_PUBLISHED) else "incomplete"
    published = bool(flags & _PROC_PUBLISHED)
    return NeighbourEntry(words[0], "" if published else words[3], "", state, bool(flags & _PROC_PERMANENT), published)


def _of_columns(words: list[str]) -> NeighbourEntry | None:
    """Read the form of `arp -n` of net-tools: `192.0.2.20 ether 00:00:5e:00:53:14 C eth0`."""
    if "(incomplete)" in words[1:2]:
        return NeighbourEntry(words[0], state="incomplete")
    if len(words) < 4 or words[1] not in _HARDWARE or not _FLAGS.fullmatch(words[3]):
        return None
    mac = words[2] if _MAC.fullmatch(words[2]) else ""
    return NeighbourEntry(words[0], mac, "", "", "M" in words[3], "P" in words[3])


def _plain(words: list[str]) -> NeighbourEntry | None:
    """Read the form of Windows: `192.0.2.20 00-00-5e-00-53-14 dynamic`; the last word may be in any language.

    OpenBSD prints the interface and `permanent` after the MAC.
    """
    if len(words) < 2 or not _MAC.fullmatch(words[1]):
        return None
    kind = unicodedata.normalize("NFKD", words[2].casefold()) if len(words) > 2 else ""
    bare = "".join(letter for letter in kind if not unicodedata.combining(letter))
    return NeighbourEntry(words[0], words[1], typed=bare.startswith(_STATIC) or "permanent" in words[2:])
