"""Asking every address of a list by ARP, and keeping every answer: two owners of one address both show.

In a round each address is asked once (RFC 1122 section 2.3.2.1 allows one question a second). The caller sees to the
permit, to the pace, and to it that nobody else owns the address the questions come from.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

from netcheck.wire.frames import arp_from_wire, arp_request, believable, padded
from netcheck.wire.link import Carrier, Heard, Link

BURST = 128  # questions between two looks at what has come in; the link's buffer holds the answers to thousands
TARGET = 38  # where the asked address begins in the frame, RFC 826
OWNERS = 16  # MACs kept for one address, so that a flood of forged answers cannot fill the memory

Answers = dict[int, list[tuple[int, float]]]


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
