"""Finding the address of a used device on a direct cable: listen first, then ask if the user allows it.

A device announces itself when its link comes up: it checks and announces its address (RFC 5227 sections 2.1 and 2.3),
requests one (RFC 2131 section 4.4), or tells its neighbour who it is (LLDP, IEEE 802.1AB). The requests are ARP without
a sender address, so that no address has to be borrowed. They start only when the device must have finished checking its
own address.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from netcheck.addr import Address, Prefix
from netcheck.field.discovery import DiscoveredHost
from netcheck.field.listen import Listener, Span, receive
from netcheck.field.sweep import Answers, Progress, SweepEnded, SweepResult, sweep
from netcheck.wire.link import Link

QUIET = 3.0  # seconds after the first address: everything else that a device announces comes with it
# Seconds that a check of its own address lasts at most: 1 + 3 * 2 + 2 (RFC 5227 section 1.1), and one to spare.
SETTLED = 10.0
WAIT = 1.05  # seconds for the last replies
LARGEST = 22  # of a prefix shorter than this only the first part is asked: 1,022 addresses take a minute
# Where devices are often found as delivered or left behind: common practice, no source. Private use is RFC 1918.
USUAL = tuple(
    Prefix.from_text(f"{net}.0/24")
    for net in (
        "192.168.0", "192.168.1", "192.168.2", "192.168.3", "192.168.10", "192.168.100", "192.168.250", "10.0.0",
        "10.0.1", "10.1.1", "10.10.10", "172.16.0", "172.16.1", "172.16.2",
    )
)  # fmt: skip
_LINK_LOCAL = 0xA9FE  # 169.254/16, RFC 3927 section 2.1
EVERYWHERE: tuple[Span, ...] = ((0, 0),)  # on a direct cable every sender of IPv4 is on the cable


def hear(link: Link, heard: Listener, seconds: float, tick: Callable[[float], None]) -> str:
    """Listen until an address is known and nothing more comes, or until the time is over; return why it ended early,
    "" if it did not."""
    begin, known_at = link.now(), None
    while (passed := link.now() - begin) < seconds:
        tick(passed)
        if why := receive(link, heard, min(begin + seconds, link.now() + 0.5)):
            return why
        known_at = known_at or (link.now() if heard.hosts else None)
        if known_at is not None and link.now() - known_at >= QUIET:
            return ""
    return ""


@dataclass(frozen=True)
class Answered:
    """The result of asking: the answers, the prefixes that were asked completely, and why it ended early, if it did."""

    answers: Answers
    asked: tuple[Prefix, ...]
    why: str = ""


def ask(link: Link, prefixes: Iterable[Prefix], own: frozenset[int], pace: float, tell: Progress) -> Answered:
    """Ask one prefix after the other, without a sender address, until somebody answers; leave out `own` addresses."""
    result = SweepResult()
    asked: list[Prefix] = []
    for prefix in prefixes:
        usable = range(prefix.usable.low, prefix.usable.high + 1)

        def progress(done: int, prefix: Prefix = prefix, of: int = len(usable)) -> None:
            tell(f"asking {prefix}", done, of)

        try:
            sweep(link, usable, WAIT, 0, pace, progress, result, own)
        except SweepEnded as ended:
            return Answered(result.answers, tuple(asked), ended.why)
        asked.append(prefix)
        if result.answers:
            break
    return Answered(result.answers, tuple(asked))


def prefixes_to_ask(planned: Iterable[Prefix]) -> Iterator[Prefix]:
    """Yield the plan's subnets, of large ones the first part, then the usual private ones; each once."""
    seen: set[Prefix] = set()
    for prefix in (*planned, *USUAL):
        part = prefix if prefix.length >= LARGEST else Prefix.of(prefix.first, LARGEST)
        if part not in seen:
            seen.add(part)
            yield part


def hosts_of(answers: Answers) -> tuple[DiscoveredHost, ...]:
    """Return the hosts that answered."""
    return tuple(
        DiscoveredHost(address, mac, by=("answered ARP",))
        for address, macs in sorted(answers.items())
        for mac, _ in macs
    )


@dataclass(frozen=True, slots=True)
class Reach:
    """What to set on this computer to reach a device: an address, 0 if none is free, and its prefix length. `ours` says
    that the computer already has it, `guessed` that the device's mask is not known."""

    address: int
    length: int
    ours: bool = False
    guessed: bool = False


def reach(address: int, own: Iterable[Span], nets: Iterable[Span], taken: Callable[[int], bool]) -> Reach:
    """Return what to set on this computer to reach an address.

    That is nothing new if the computer is in a subnet with it, else an address in the plan's prefix around it, else in
    a /24, since a device does not tell its mask (RFC 6918)."""
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
