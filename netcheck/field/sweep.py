"""An ARP sweep of a prefix: the MACs that answer for each address. Every answer is kept, so two owners are both listed.

In a round each address is asked once; RFC 1122 section 2.3.2.1 allows one request a second for an address. Addresses
that did not answer are asked again, since the first reply is often lost. If a MAC answers for several addresses, these
are asked once more with sender 0.0.0.0: an owner answers such a request, and a router that does proxy ARP does not. A
host that has answered has finished checking its own address (RFC 5227 section 2.1), so this request does no harm.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from math import ceil

from netcheck.addr import Prefix, mac_text, quad
from netcheck.errors import LinkError, Problem, UsageError
from netcheck.field.discovery import DiscoveredHost, Discovery, ProxyArp, prefixes_of
from netcheck.text import safe
from netcheck.wire.frames import arp_from_wire, arp_request, believable, padded
from netcheck.wire.link import Adapter, Carrier, Heard, Link, Lost, Suspended

BURST = 128  # requests between two reads of the link, whose buffer holds thousands of replies
TARGET = 38  # offset of the requested address in the frame: RFC 826
OWNERS = 16  # MACs kept for one address: a flood of forged replies cannot fill the memory
TRIES = 3  # attempts to send a request that the system does not accept

LARGE = 20  # a shorter prefix has more than 4,094 hosts and needs --really
LARGEST = 8  # a shorter prefix is not swept: at the pace of proving it would take months
ROUNDS = 2
WAIT = 1.05  # seconds between rounds: one request a second for one address (RFC 1122 section 2.3.2.1), and late replies
CLAIM_GAPS = (1.1, 1.6, 2.0)  # seconds after each probe for a borrowed address: PROBE_MIN to PROBE_MAX, ANNOUNCE_WAIT
REQUESTS_AN_HOUR = 72_000  # at the default pace of 20 a second

CABLE_OUT = "the cable came out, or the interface was switched off"
SUSPENDED = "the computer was suspended"
NOT_SENT = "the system did not send all requests"

Answers = dict[int, list[tuple[int, float]]]
Progress = Callable[[str, int, int], None]  # called with (text, done, total)


class SweepEnded(Exception):
    """Raised if a sweep cannot go on: the cable came out, the computer was suspended, or requests cannot be sent.

    `why` is the reason, `asked` the number of addresses that were asked before, and `answers` the answers so far.
    """

    def __init__(self, why: str, asked: int, answers: Answers) -> None:
        super().__init__(why)
        self.why, self.asked, self.answers = why, asked, answers


@dataclass
class SweepResult:
    """The result of the requests so far.

    `answers` maps each address to the MACs that answered, with the time of their first reply on the link's clock.
    `dropped` is the number of frames that this computer dropped; they may have contained replies.
    """

    answers: Answers = field(default_factory=dict)
    dropped: int = 0


def sweep(
    link: Link,
    addresses: Sequence[int],
    wait: float,
    source_ip: int,
    pace: float | None = None,
    asked: Callable[[int], None] | None = None,
    into: SweepResult | None = None,
    skip: frozenset[int] = frozenset(),
) -> Answers:
    """Ask for each 32-bit address from `source_ip` on adapter 0, then wait `wait` seconds for the last replies.

    The caller must have the permit, and make sure that no other host has `source_ip`.

    - `pace`: frames a second, None for no limit.
    - `asked`: called after each burst with the number of addresses asked so far.
    - `into`: filled continuously, so that no answer is lost if the sweep is interrupted.
    - `skip`: addresses that are left out.

    Raises SweepEnded if the sweep cannot go on.
    """
    result = SweepResult() if into is None else into
    known = addresses if isinstance(addresses, range) else frozenset(addresses)
    template = padded(arp_request(link.adapters[0].mac, source_ip, 0))
    head, tail = template[:TARGET], template[TARGET + 4 :]
    burst = BURST if pace is None else max(1, min(BURST, int(pace / 50)))
    begin = last = link.now()
    for at in range(0, len(addresses), burst):
        for address in addresses[at : at + burst]:
            if address not in skip:
                last = _send(link, head + address.to_bytes(4, "big") + tail, at, result, known)
        done = min(at + burst, len(addresses))
        if why := _receive(link, link.now() if pace is None else begin + done / pace, result, known):
            raise SweepEnded(why, at, result.answers)
        if asked is not None:
            asked(done)
    if why := _receive(link, last + wait, result, known):
        raise SweepEnded(why, max(0, len(addresses) - burst), result.answers)
    return result.answers


def _send(link: Link, frame: bytes, asked: int, result: SweepResult, known: Collection[int]) -> float:
    """Send a frame and return the time; try again if the system does not accept it.

    Raises SweepEnded after TRIES attempts, with the number of addresses `asked` before.
    """
    for turn in range(TRIES):
        sent = link.send(frame)
        if sent is not None:
            return sent
        if why := _receive(link, link.now() + 0.05 * (turn + 1), result, known):
            raise SweepEnded(why, asked, result.answers)
    raise SweepEnded(NOT_SENT, asked, result.answers)


def _receive(link: Link, until: float, result: SweepResult, known: Collection[int]) -> str:
    """Read the frames that arrive up to a time, at least once; return why the sweep cannot go on, "" if it can."""
    why = ""
    while True:
        for news in link.receive(until):
            match news:
                case Heard():
                    if news.adapter == 0:
                        _note(news, result.answers, known)
                case Carrier():
                    why = why or ("" if news.up or news.adapter else CABLE_OUT)
                case Lost():
                    result.dropped += 0 if news.adapter else news.frames
                case Suspended():
                    why = why or SUSPENDED
        if why or link.now() >= until:
            return why


def _note(heard: Heard, answers: Answers, known: Collection[int]) -> None:
    arp = arp_from_wire(heard.frame)
    if arp is None or not believable(arp.sender_mac) or arp.sender_ip not in known:
        return
    found = answers.setdefault(arp.sender_ip, [])
    if len(found) < OWNERS and all(mac != arp.sender_mac for mac, _ in found):
        found.append((arp.sender_mac, heard.at))


def prefix_to_sweep(text: str, really: bool) -> Prefix:
    """Return the prefix. Raises UsageError if the text is no prefix, is IPv6, or has more addresses than allowed."""
    try:
        prefix = Prefix.from_text(text)
    except ValueError as error:
        raise UsageError(Problem(str(error), do="Write it as 192.0.2.0/24")) from error
    if prefix.family != 4:
        raise UsageError(Problem(f"{prefix} is IPv6, which has no ARP", do="Name an IPv4 prefix"))
    hours = prefix.usable.size / REQUESTS_AN_HOUR
    size = f"{prefix} holds {prefix.usable.size:,} addresses, {hours:.1f} hours of requests"
    if prefix.length < LARGEST:
        do = f"Name the parts that are in use; nothing larger than a /{LARGEST} is swept"
        raise UsageError(Problem(size, do=do))
    if prefix.length < LARGE and not really:
        raise UsageError(Problem(size, do=f"Add --really to sweep more than a /{LARGE}"))
    return prefix


def sender_for(adapter: Adapter, prefix: Prefix) -> int:
    """Return this computer's address inside the prefix, else its address in a subnet around the prefix, else 0."""
    inside = [address for address, _ in adapter.addresses if prefix.first.value <= address <= prefix.last.value]
    around = [a for a, length in adapter.addresses if a >> (32 - length) == prefix.value >> (32 - length)]
    return next(iter(inside + [a for a in around if a not in inside]), 0)


def claim(link: Link, address: int) -> None:
    """Check that no host has an address before it is borrowed (RFC 5227 section 2.1.1).

    Raises LinkError if a host has it, or if the check cannot be completed.
    """
    for gap in CLAIM_GAPS:
        try:
            answers = sweep(link, [address], gap, 0)
        except SweepEnded as error:
            raise LinkError.of(error.why, where=safe(link.adapters[0].name), do="Start again") from error
        if answers:
            owner = mac_text(answers[address][0][0])
            what = f"{quad(address)}, which was to be borrowed, belongs to {owner}"
            raise LinkError.of(what, do="Give this computer, or the plan's station, an address that is free")


@dataclass
class Sweeping:
    """A sweep of a prefix with its result so far; `findings` can be called at any time.

    - `planned`: addresses that are not asked without a sender address, since a device may be checking its own address.
    - `elsewhere`: maps this computer's addresses on other interfaces to the names of these interfaces. They are not
      asked, because this computer does not hear itself.
    """

    link: Link
    prefix: Prefix
    sender: int
    pace: float
    rounds: int = ROUNDS
    planned: frozenset[int] = frozenset()
    elsewhere: Mapping[int, str] = field(default_factory=dict)
    result: SweepResult = field(default_factory=SweepResult)
    owned: SweepResult = field(default_factory=SweepResult)  # replies to requests without a sender
    asked: int = 0  # addresses that the first round has asked so far
    whole: bool = False  # the first round is complete, including the wait for its last replies
    checked: bool = False  # the check for proxy ARP is complete
    why_ended: str = ""  # why it ended early

    def run(self, tell: Progress) -> None:
        """Sweep the prefix. If the sweep cannot go on, end it and set `why_ended`."""
        try:
            self._ask(tell)
            self._check(tell)
        except SweepEnded as ended:
            self.why_ended = f"{ended.why} before all addresses were asked for"

    @property
    def all(self) -> range:
        """All addresses of the prefix that a host may have, including those of this computer."""
        usable = self.prefix.usable
        return range(usable.low, usable.high + 1)

    @property
    def ours(self) -> frozenset[int]:
        """The addresses of the prefix that this computer has or borrows on this interface; they are not asked."""
        return frozenset(a for a in (self.sender, *(a for a, _ in self.link.adapters[0].addresses)) if a in self.all)

    @property
    def unheard(self) -> frozenset[int]:
        """The addresses of the prefix that this computer has on other interfaces."""
        return frozenset(one for one in self.elsewhere if one in self.all) - self.ours

    @property
    def spared(self) -> frozenset[int]:
        """The planned addresses of the prefix, if there is no sender address; they are not asked."""
        return frozenset() if self.sender else frozenset(one for one in self.planned if one in self.all)

    def _ask(self, tell: Progress) -> None:
        skip = self.ours | self.unheard | self.spared
        for turn in range(self.rounds):
            left: Sequence[int] = self.all
            if turn:
                left = [one for one in self.all if one not in self.result.answers]
            text = "asking" if turn == 0 else "asking again where nobody answered"

            def progress(done: int, text: str = text, of: int = len(left), first: bool = turn == 0) -> None:
                self.asked = done if first else self.asked
                tell(text, done, of)

            sweep(self.link, left, WAIT, self.sender, self.pace, progress, self.result, skip)
            self.whole = True

    def _check(self, tell: Progress) -> None:
        """Ask twice without a sender for each address of a MAC that answers for several addresses."""
        if not self.sender:
            self.checked = True
            return  # proxy ARP does not answer a request without a sender, so every MAC that answered is an owner
        doubtful = sorted({address for found in self._by_mac().values() if len(found) > 1 for address in found})
        for _ in range(2):
            left = [address for address in doubtful if address not in self.owned.answers]

            def progress(done: int, of: int = len(left)) -> None:
                tell("looking for proxy ARP", done, of)

            if left:
                sweep(self.link, left, WAIT, 0, self.pace, progress, self.owned)
        self.checked = True

    def _by_mac(self) -> dict[int, list[int]]:
        found: dict[int, list[int]] = defaultdict(list)
        for address, macs in self.result.answers.items():
            for mac, _ in macs:
                found[mac].append(address)
        return found

    def _relays(self) -> tuple[ProxyArp, ...]:
        """Return the MACs that answer for addresses that they do not own; empty if that was not checked."""
        relays = []
        for mac, addresses in sorted(self._by_mac().items()):
            lent = [a for a in sorted(addresses) if all(one != mac for one, _ in self.owned.answers.get(a, ()))]
            if self.sender and self.checked and len(addresses) > 1 and lent:
                relays.append(ProxyArp(mac, tuple(lent)))
        return tuple(relays)

    def findings(self, day: date, seconds: float, ended: str = "") -> Discovery:
        """Return the result so far; `ended` is why the sweep ended early, "" if it did not."""
        relays = self._relays()
        lent = {(address, relay.mac) for relay in relays for address in relay.addresses}
        hosts = tuple(
            DiscoveredHost(address, mac, by=(f"answered ARP, sweep of {self.prefix}",))
            for address, macs in sorted(self.result.answers.items())
            for mac in sorted(mac for mac, _ in macs)
            if (address, mac) not in lent
        )
        why = ended or self.why_ended
        return Discovery(
            interface=self.link.adapters[0].name,
            day=day,
            hosts=hosts,
            relays=relays,
            covers=self._covers(relays),
            notes=self._notes(why, relays),
            seconds=seconds,
            complete=not why and not self.result.dropped,
        )

    def _covers(self, relays: Sequence[ProxyArp]) -> tuple[Prefix, ...]:
        """Return the prefixes in which every host was found; empty if replies may have been dropped.

        This is the part of the prefix that was asked, without the addresses that a relay answers for and those that
        this computer cannot hear.
        """
        if self.result.dropped:
            return ()
        unknown = sorted((self.spared | self.unheard).union(*(relay.addresses for relay in relays)))
        low, high = self.prefix.first.value, self.prefix.last.value
        if not self.whole:  # hosts that were asked within the last WAIT seconds may still answer
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
        notes += [
            f"{quad(address)} is this computer's own on {safe(self.elsewhere[address])}: whether another host has it "
            "cannot be heard"
            for address in sorted(self.unheard)
        ]
        if self.spared:
            notes.append(f"{len(self.spared)} planned addresses were not asked: there is no address to ask them from")
        if self.result.dropped:
            notes.append(
                f"this computer dropped {self.result.dropped} frames, so hosts may be missing and nothing is called "
                "covered; sweep again with a lower --pace"
            )
        elif relays and not self._covers(relays):
            notes.append("proxy ARP answers for so many addresses that nothing is listed as covered")
        return tuple(notes)
