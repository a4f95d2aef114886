"""Asking every address of a list by ARP, and keeping every answer: two owners of one address both show.

In a round each address is asked once (RFC 1122 section 2.3.2.1 allows one question a second). The caller sees to the
permit, to the pace, and to it that nobody else owns the address the questions come from.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from datetime import date
from math import ceil

from netcheck.addr import Prefix, mac_text, quad
from netcheck.errors import LinkError, Problem, UsageError
from netcheck.field.discovery import DiscoveredHost, Discovery, ProxyArp, prefixes_of
from netcheck.wire.frames import arp_from_wire, arp_request, believable, padded
from netcheck.wire.link import Carrier, Heard, Link, Way

BURST = 128  # questions between two looks at what has come in; the link's buffer holds the answers to thousands
TARGET = 38  # where the asked address begins in the frame, RFC 826
OWNERS = 16  # MACs kept for one address, so that a flood of forged answers cannot fill the memory

LARGE = 20  # a prefix shorter than this holds more than 4,094 hosts
LARGEST = 8  # a shorter one is never swept: at the pace of proving it would last for months
ROUNDS = 2
WAIT = 1.05  # seconds: one question a second to one address (RFC 1122 section 2.3.2.1), and a router's late answer
CLAIM_GAPS = (1.1, 1.6, 2.0)  # after each probe for a borrowed address: PROBE_MIN to PROBE_MAX, then ANNOUNCE_WAIT

Answers = dict[int, list[tuple[int, float]]]
Tell = Callable[[str, int, int], None]  # told (words, done, of how many)


class Gone(Exception):
    """The interface was removed, or its cable came out; `asked` addresses had been asked, `answers` had come."""

    def __init__(self, asked: int, answers: Answers) -> None:
        super().__init__(asked)
        self.asked, self.answers = asked, answers


def sweep(
    link: Link,
    addresses: Sequence[int],
    wait: float,
    source_ip: int,
    pace: float | None = None,
    asked: Callable[[int], None] | None = None,
    into: Answers | None = None,
    skip: frozenset[int] = frozenset(),
) -> Answers:
    """Ask each 32-bit address from `source_ip` on way 0, then wait this many seconds for the last answers.

    Returns, for each address that answered, each MAC with the time of its first answer on the link's clock. `pace` is
    in frames a second, None for no limit; `asked` is told now and then how many have been asked; `into` is filled on
    the way, so that nothing is lost where it is interrupted. Those in `skip` are passed over. Gone where
    the carrier is lost.
    """
    answers: Answers = {} if into is None else into
    known = addresses if isinstance(addresses, range) else frozenset(addresses)
    template = padded(arp_request(link.ways[0].mac, source_ip, 0))
    head, tail = template[:TARGET], template[TARGET + 4 :]
    burst = BURST if pace is None else max(1, min(BURST, int(pace / 50)))
    begin = last = link.now()
    for at in range(0, len(addresses), burst):
        for address in addresses[at : at + burst]:
            if address not in skip:
                last = link.send(head + address.to_bytes(4, "big") + tail) or last
        done = min(at + burst, len(addresses))
        if not _take(link, link.now() if pace is None else begin + done / pace, answers, known):
            raise Gone(at, answers)
        if asked is not None:
            asked(done)
    if not _take(link, last + wait, answers, known):
        raise Gone(max(0, len(addresses) - burst), answers)
    return answers


def _take(link: Link, until: float, answers: Answers, known: Collection[int]) -> bool:
    """Take what arrives up to a time, at least one look; False where the carrier of way 0 went away."""
    there = True
    while True:
        for news in link.receive(until):
            if isinstance(news, Carrier):
                there = there and (news.up or news.way != 0)
            elif isinstance(news, Heard) and news.way == 0:
                _note(news, answers, known)
        if link.now() >= until or not there:
            return there


def _note(heard: Heard, answers: Answers, known: Collection[int]) -> None:
    arp = arp_from_wire(heard.frame)
    if arp is None or not believable(arp.sender_mac) or arp.sender_ip not in known:
        return
    found = answers.setdefault(arp.sender_ip, [])
    if len(found) < OWNERS and all(mac != arp.sender_mac for mac, _ in found):
        found.append((arp.sender_mac, heard.at))


def prefix_to_sweep(text: str, really: bool) -> Prefix:
    """Read the prefix; UsageError where it is none, is IPv6, or holds more than may be asked."""
    try:
        prefix = Prefix.from_text(text)
    except ValueError as error:
        raise UsageError(Problem(str(error), do="Write it as 192.0.2.0/24")) from error
    if prefix.family != 4:
        raise UsageError(Problem(f"{prefix} is IPv6, which has no ARP", do="Name an IPv4 prefix"))
    hosts = f"{prefix} holds {prefix.usable.size:,} addresses, {prefix.usable.size / 72_000:.1f} hours of questions"
    if prefix.length < LARGEST:
        raise UsageError(Problem(hosts, do=f"Name the parts that are in use; nothing above a /{LARGEST} is swept"))
    if prefix.length < LARGE and not really:
        raise UsageError(Problem(f"{hosts}; more than a /{LARGE} is asked only where you say --really"))
    return prefix


def sender_for(way: Way, prefix: Prefix) -> int:
    """The station's own address on a way inside the prefix and with the prefix on its link; 0 where it has none."""
    inside = [address for address, _ in way.addresses if prefix.first.value <= address <= prefix.last.value]
    around = [a for a, length in way.addresses if a >> (32 - length) == prefix.value >> (32 - length)]
    return next(iter(inside + [a for a in around if a not in inside]), 0)


def claim(link: Link, address: int) -> None:
    """Make sure that nobody has an address that is to be borrowed (RFC 5227 section 2.1.1); LinkError where somebody
    has it."""
    for gap in CLAIM_GAPS:
        try:
            answers = sweep(link, [address], gap, 0)
        except Gone as error:
            raise LinkError.of(
                "the cable came out", where=link.ways[0].name, do="Plug it in, and start again"
            ) from error
        if answers:
            owner = mac_text(answers[address][0][0])
            what = f"{quad(address)}, which was to be borrowed, belongs to {owner}"
            raise LinkError.of(what, do="Give this computer, or the plan's station, an address that is free")


@dataclass
class Sweeping:
    """A sweep and what has come of it so far; it can be asked for its findings at any moment."""

    link: Link
    prefix: Prefix
    sender: int
    pace: float
    rounds: int = ROUNDS
    planned: frozenset[int] = frozenset()  # never asked without a sender: a device may be checking its own
    answers: Answers = field(default_factory=dict)
    owned: Answers = field(default_factory=dict)  # answers to questions without sender
    asked: int = 0  # addresses that all rounds so far have asked at least once
    whole: bool = False  # the first round has ended, its last answers waited for
    checked: bool = False
    why_ended: str = ""

    def run(self, tell: Tell) -> None:
        """Ask; where the cable comes out it ends early and says so."""
        try:
            self._ask(tell)
            self._check(tell)
        except Gone:
            self.why_ended = "the cable came out, or the interface was switched off, before all were asked"

    @property
    def all(self) -> range:
        """Every address of the prefix that a host may have; our own are still among them."""
        usable = self.prefix.usable
        return range(usable.low, usable.high + 1)

    @property
    def ours(self) -> frozenset[int]:
        """The addresses inside it that this computer has or borrows: these are not asked."""
        return frozenset(a for a in (self.sender, *(a for a, _ in self.link.ways[0].addresses)) if a in self.all)

    @property
    def spared(self) -> frozenset[int]:
        """Planned addresses inside it, where there is no sender to ask them from."""
        return frozenset() if self.sender else frozenset(one for one in self.planned if one in self.all)

    def _ask(self, tell: Tell) -> None:
        for turn in range(self.rounds):
            left: Sequence[int] = self.all
            if turn:
                left = [one for one in self.all if one not in self.answers]
            words = "asking" if turn == 0 else "asking the silent ones again"

            def told(done: int, words: str = words, of: int = len(left), first: bool = turn == 0) -> None:
                self.asked = done if first else self.asked
                tell(words, done, of)

            sweep(self.link, left, WAIT, self.sender, self.pace, told, self.answers, self.ours | self.spared)
            self.whole = True

    def _check(self, tell: Tell) -> None:
        """Ask those that answer for several addresses for each of them without a sender, twice."""
        if not self.sender:
            self.checked = True
            return  # proxy ARP does not answer a question without sender: all that answered are owners
        doubtful = sorted({address for found in self._by_mac().values() if len(found) > 1 for address in found})
        for _ in range(2):
            left = [address for address in doubtful if address not in self.owned]

            def told(done: int, of: int = len(left)) -> None:
                tell("looking for proxy ARP", done, of)

            if left:
                sweep(self.link, left, WAIT, 0, self.pace, told, self.owned)
        self.checked = True

    def _by_mac(self) -> dict[int, list[int]]:
        found: dict[int, list[int]] = defaultdict(list)
        for address, macs in self.answers.items():
            for mac, _ in macs:
                found[mac].append(address)
        return found

    def _relays(self) -> tuple[ProxyArp, ...]:
        """Addresses for which a MAC answers that does not own them; nothing where that was not looked into."""
        relays = []
        for mac, addresses in sorted(self._by_mac().items()):
            lent = [a for a in sorted(addresses) if all(one != mac for one, _ in self.owned.get(a, ()))]
            if self.sender and self.checked and len(addresses) > 1 and lent:
                relays.append(ProxyArp(mac, tuple(lent)))
        return tuple(relays)

    def findings(self, day: date, seconds: float, ended: str = "") -> Discovery:
        """What has come of it; `ended` says why it ended early, where it did."""
        relays = self._relays()
        lent = {(address, relay.mac) for relay in relays for address in relay.addresses}
        hosts = tuple(
            DiscoveredHost(address, mac, by=(f"answered ARP, sweep of {self.prefix}",))
            for address, macs in sorted(self.answers.items())
            for mac in sorted(mac for mac, _ in macs)
            if (address, mac) not in lent
        )
        why = ended or self.why_ended
        return Discovery(
            self.link.ways[0].name, day, hosts, (), relays, self._covers(relays), self._notes(why, relays), seconds,
            complete=not why,
        )  # fmt: skip

    def _covers(self, relays: Sequence[ProxyArp]) -> tuple[Prefix, ...]:
        """The prefix where all of it was asked; else the part that was, without what a relay answers for."""
        unknown = sorted(self.spared.union(*(relay.addresses for relay in relays)))
        low, high = self.prefix.first.value, self.prefix.last.value
        if not self.whole:  # who was asked in the last second may be about to answer
            heard_out = self.asked - ceil(self.pace * WAIT)
            high = self.all[heard_out - 1] if heard_out > 0 else low - 1
        spans: list[tuple[int, int]] = []
        for address in unknown:
            spans += [(low, min(high, address - 1))] if low < address else []
            low = address + 1
        return prefixes_of([*spans, (low, high)])

    def _notes(self, why: str, relays: Sequence[ProxyArp]) -> tuple[str, ...]:
        notes = [f"it ended early: {why}"] if why else []
        notes += [f"{quad(address)} is this computer's own and is not listed" for address in sorted(self.ours)]
        if self.spared:
            notes.append(f"{len(self.spared)} planned addresses were not asked: there is no address to ask them from")
        if relays and not self._covers(relays):
            notes.append("so much is answered for by proxy ARP that nothing is called covered")
        return tuple(notes)
