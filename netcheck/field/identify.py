"""Getting to know a used device on a direct cable: what it announces, then, only if told to, gentle asking.

A device announces itself when its link comes up: it checks and announces its address (RFC 5227 sections 2.1 and 2.3),
asks for one (RFC 2131 section 4.4), or tells its neighbour who it is (LLDP, IEEE 802.1AB). Asking is by ARP without a
sender, so that no address has to be borrowed, and begins only when such a check must be over.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from netcheck.addr import Address, Prefix
from netcheck.field.discovery import DiscoveredHost
from netcheck.field.listen import Listener, Span, take
from netcheck.field.sweep import Answers, Gone, sweep
from netcheck.wire.link import Link

QUIET = 3.0  # seconds after the first address: what else it announces comes with it
SETTLED = (
    10.0  # seconds: a check lasts at most 1 + 3 * 2 + 2 of them (RFC 5227 section 1.1: PROBE_WAIT to ANNOUNCE_WAIT)
)
WAIT = 1.05  # seconds for the last answers
LARGEST = 22  # a prefix shorter than this is not asked whole: 1,022 addresses take a minute
# Where devices are often found as they come or were left: common practice, no source. Private use is RFC 1918.
USUAL = tuple(
    Prefix.from_text(f"{net}.0/24")
    for net in (
        "192.168.0", "192.168.1", "192.168.2", "192.168.3", "192.168.10", "192.168.100", "192.168.250", "10.0.0",
        "10.0.1", "10.1.1", "10.10.10", "172.16.0", "172.16.1", "172.16.2",
    )
)  # fmt: skip
_LINK_LOCAL = 0xA9FE  # 169.254/16, RFC 3927 section 2.1
EVERYWHERE: tuple[Span, ...] = ((0, 0),)  # on a direct cable, whoever sends IPv4 is there

Tell = Callable[[str, int, int], None]  # told (words, done, of how many)


def hear(link: Link, ear: Listener, seconds: float, tick: Callable[[float], None]) -> str:
    """Hear until an address is known and nothing more comes, or so many seconds are over. Returns why it ended early,
    "" where it did not."""
    begin, known_at = link.now(), None
    while (passed := link.now() - begin) < seconds:
        tick(passed)
        if why := take(link, ear, min(begin + seconds, link.now() + 0.5)):
            return why
        known_at = known_at or (link.now() if ear.hosts else None)
        if known_at is not None and link.now() - known_at >= QUIET:
            return ""
    return ""


@dataclass(frozen=True)
class Answered:
    """What asking came to: the answers, the prefixes that were asked whole, and why it ended early, if it did."""

    answers: Answers
    asked: tuple[Prefix, ...]
    why: str = ""


def ask(link: Link, prefixes: Iterable[Prefix], own: frozenset[int], pace: float, tell: Tell) -> Answered:
    """Ask one prefix after the other, without a sender, until somebody answers. `own` addresses are left out."""
    answers: Answers = {}
    asked: list[Prefix] = []
    for prefix in prefixes:
        usable = range(prefix.usable.low, prefix.usable.high + 1)

        def told(done: int, prefix: Prefix = prefix, of: int = len(usable)) -> None:
            tell(f"asking {prefix}", done, of)

        try:
            sweep(link, usable, WAIT, 0, pace, told, answers, own)
        except Gone:
            return Answered(answers, tuple(asked), "the cable came out, or the interface was switched off")
        asked.append(prefix)
        if answers:
            break
    return Answered(answers, tuple(asked))


def prefixes_to_ask(planned: Iterable[Prefix]) -> Iterator[Prefix]:
    """The plan's subnets, those too large to ask cut to their first part, then the usual private ones; each once."""
    seen: set[Prefix] = set()
    for prefix in (*planned, *USUAL):
        part = prefix if prefix.length >= LARGEST else Prefix.of(prefix.first, LARGEST)
        if part not in seen:
            seen.add(part)
            yield part


def hosts_of(answers: Answers) -> tuple[DiscoveredHost, ...]:
    """Who answered, as hosts."""
    return tuple(
        DiscoveredHost(address, mac, by=("answered ARP",))
        for address, macs in sorted(answers.items())
        for mac, _ in macs
    )


@dataclass(frozen=True, slots=True)
class Reach:
    """What to set on this computer to reach a device: an address and its prefix length. `ours` says that the computer
    has it already, `guessed` that nobody knows the device's mask."""

    address: int
    length: int
    ours: bool = False
    guessed: bool = False


def reach(address: int, own: Iterable[Span], nets: Iterable[Span], taken: Callable[[int], bool]) -> Reach:
    """Work out what to set: nothing new where this computer is in one subnet with it, else the plan's prefix around
    it, else a /24, since a device does not tell its mask (RFC 6918)."""
    for ours, length in own:
        if ours != address and ours >> (32 - length) == address >> (32 - length):
            return Reach(ours, length, ours=True)
    planned = next((length for first, length in nets if first >> (32 - length) == address >> (32 - length)), None)
    length = planned if planned is not None else 16 if address >> 16 == _LINK_LOCAL else 24
    usable = Prefix.of(Address(4, address), length).usable
    low, high = usable.low, usable.high
    if address >> 16 == _LINK_LOCAL:
        low, high = low + 255, high - 255  # the first and last 256 are reserved, RFC 3927 section 2.1
    free = (one for one in range(high, max(low, high - 4096) - 1, -1) if one != address and not taken(one))
    return Reach(next(free, 0), length, guessed=planned is None)
