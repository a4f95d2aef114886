"""Finds the address of a used device on a direct cable: listens first, then sends requests if the user allows it.

A device sends frames when its link comes up. It checks and announces its address (RFC 5227 sections 2.1 and 2.3),
requests an address (RFC 2131 section 4.4), or sends its identity by LLDP (IEEE 802.1AB). Our requests are ARP without a
sender address, so no address is borrowed. They begin when the device has certainly finished the check of its address.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from netcheck.addr import Address, Prefix
from netcheck.field.discovery import DiscoveredHost
from netcheck.field.listen import Listener, Span, receive
from netcheck.field.sweep import Answers, Progress, SweepEnded, SweepResult, sweep
from netcheck.wire.link import Link

QUIET = 3.0  # seconds to listen after the first address: a device sends its other announcements within them
# Most seconds that a device needs to check its address: 1 + 3 * 2 + 2 (RFC 5227 section 1.1), and one to spare.
SETTLED = 10.0
WAIT = 1.05  # seconds for the last replies
LARGEST = 22  # of a shorter prefix only the first /22 is asked: 1,022 addresses take a minute
# Prefixes in which new and used devices often have their address: common practice, no source. Private use is RFC 1918.
USUAL = tuple(
    Prefix.from_text(f"{net}.0/24")
    for net in (
        "192.168.0", "192.168.1", "192.168.2", "192.168.3", "192.168.10", "192.168.100", "192.168.250", "10.0.0",
        "10.0.1", "10.1.1", "10.10.10", "172.16.0", "172.16.1", "172.16.2",
    )
)  # fmt: skip
_LINK_LOCAL = 0xA9FE  # 169.254/16, RFC 3927 section 2.1
EVERYWHERE: tuple[Span, ...] = ((0, 0),)  # all addresses: on a direct cable every IPv4 sender is on the cable


def hear(link: Link, heard: Listener, seconds: float, tick: Callable[[float], None]) -> str:
    """Listen until QUIET seconds after the first address, or until the time is over.

    Return why it ended early, "" if it did not.
    """
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
    """The result of the requests: the answers, the prefixes that were asked completely, and why it ended early."""

    answers: Answers
    asked: tuple[Prefix, ...]
    why: str = ""


def ask(link: Link, prefixes: Iterable[Prefix], own: frozenset[int], pace: float, tell: Progress) -> Answered:
    """Ask one prefix after the other without a sender address, until a host answers; leave out the `own` addresses.

    `pace` is in frames a second.
    """
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
    """Yield the plan's subnets, then the usual private ones, each once; of a large subnet only the first part."""
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
    """The settings of this computer that reach a device: an address, 0 if none is free, and its prefix length.

    `ours`: the computer already has this address. `guessed`: the prefix length is a guess.
    """

    address: int
    length: int
    ours: bool = False
    guessed: bool = False


def reach(address: int, own: Iterable[Span], nets: Iterable[Span], taken: Callable[[int], bool]) -> Reach:
    """Return the settings of this computer that reach an address.

    These are its present ones if it is in a subnet with the address. Else it is a free address in the plan's prefix
    around it, else in a /24, since a device does not tell its mask (RFC 6918).
    """
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
