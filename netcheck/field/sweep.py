"""Asking every address of a list by ARP, and keeping every answer: two owners of one address both show.

Each address is asked once (RFC 1122 section 2.3.2.1 allows one question a second). The caller sees to the permit, to
the pace, and to it that nobody else owns the address the questions come from.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from netcheck.wire.frames import arp_from_wire, arp_request, believable, padded
from netcheck.wire.link import Heard, Link

BURST = 128  # questions between two looks at what has come in; the link's buffer holds the answers to thousands
TARGET = 38  # where the asked address begins in the frame, RFC 826

Answers = dict[int, list[tuple[int, float]]]


def sweep(
    link: Link,
    addresses: Sequence[int],
    wait: float,
    source_ip: int,
    pace: float | None = None,
    asked: Callable[[int], None] | None = None,
) -> Answers:
    """Ask each 32-bit address from `source_ip` on way 0, then wait this many seconds for the last answers.

    Returns, for each address that answered, each MAC with the time of its first answer on the link's clock. `pace` is
    in frames a second, None for no limit; `asked` is told now and then how many have been asked.
    """
    frames = _frames(link.ways[0].mac, addresses, source_ip)
    answers: Answers = {address: [] for address in addresses}
    burst = BURST if pace is None else max(1, min(BURST, int(pace / 50)))
    begin = last = link.now()
    for at in range(0, len(frames), burst):
        for frame in frames[at : at + burst]:
            last = link.send(frame)
        done = min(at + burst, len(frames))
        _take(link, link.now() if pace is None else begin + done / pace, answers)
        if asked is not None:
            asked(done)
    _take(link, last + wait, answers)
    return {address: found for address, found in answers.items() if found}


def _frames(mac: int, addresses: Sequence[int], source_ip: int) -> list[bytes]:
    """One frame an address, made from one template by putting the asked address in."""
    template = padded(arp_request(mac, source_ip, 0))
    head, tail = template[:TARGET], template[TARGET + 4 :]
    return [head + address.to_bytes(4, "big") + tail for address in addresses]


def _take(link: Link, until: float, answers: Answers) -> None:
    """Take what arrives up to a time; at least one look, also where it is past."""
    while True:
        for news in link.receive(until):
            if isinstance(news, Heard) and news.way == 0:
                _note(news, answers)
        if link.now() >= until:
            return


def _note(heard: Heard, answers: Answers) -> None:
    arp = arp_from_wire(heard.frame)
    if arp is None or not believable(arp.sender_mac):
        return
    found = answers.get(arp.sender_ip)
    if found is not None and all(mac != arp.sender_mac for mac, _ in found):
        found.append((arp.sender_mac, heard.at))
