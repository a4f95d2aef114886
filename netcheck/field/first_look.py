"""A test of the wire before the first pull: whether a device of each subnet answers, and whether two devices answer.

It sends ARP requests to a few planned addresses, in the subnets in which this computer has an address. In other subnets
a request would have no sender address, and a device that is checking its own address would give it up (RFC 5227 section
2.1.1).

The result is no verdict. An address may not answer because its device is checking it, or is switched off. The sentences
are warnings, and the operator decides whether the run goes on.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from netcheck.addr import Address, Prefix, mac_text, quad
from netcheck.proof.driver import Frames
from netcheck.proof.targets import Net, Scope
from netcheck.text import listed, safe
from netcheck.wire.frames import arp_from_wire, arp_request, believable
from netcheck.wire.link import Heard, Link, NetworkInterface

MOST = 12  # requests in a round, distributed over the subnets and the devices
ROUNDS = 2
EVERY = 0.1  # seconds between requests: at most ten broadcasts a second, as in a run
WAIT = 1.0  # seconds after a round: RFC 1122 section 2.3.2.1
ENOUGH = 2  # devices that must answer: a silence needs another device as its control


@dataclass
class FirstLook:
    """The hosts that were heard.

    `asked` are the addresses that were asked. `answers` maps each planned address and gateway to the MACs that were
    heard for it. `macs` are all MACs that sent ARP. `spent` is the seconds that the test took.
    """

    asked: list[int]
    answers: dict[int, set[int]] = field(default_factory=dict)
    macs: set[int] = field(default_factory=set)
    spent: float = 0.0


def sample(aim: Scope) -> list[int]:
    """Return the addresses to ask, at most MOST: one of each subnet in turn, each of another device.

    The gateway of a subnet comes third.
    """
    names = {target.subnet for target in aim.asked if not target.barred}
    queues: dict[str, dict[str, int]] = {name: {} for name in names}
    for target in (*aim.asked, *aim.targets):
        if not target.barred and target.subnet in names:
            queues[target.subnet].setdefault(target.device, target.address)
    waiting = []
    for net in aim.nets:
        if net.name in names:
            addresses = list(queues[net.name].values())
            waiting.append([*addresses[:2], *([net.gateway] if net.gateway is not None else []), *addresses[2:]])
    found: list[int] = []
    while len(found) < MOST and any(waiting):
        found += [several.pop(0) for several in waiting if several][: MOST - len(found)]
    return list(dict.fromkeys(found))


def look(link: Link, aim: Scope, frames: Frames | None = None) -> FirstLook:
    """Send the requests; return once enough devices have answered, after about four seconds at the latest.

    *frames* is called with every frame. In the last second no request is sent, so that the requests of the run keep
    their pace.
    """
    seen = FirstLook([address for address in sample(aim) if _sender(link, address)])
    begin, mac = link.now(), link.adapters[0].mac
    planned = {*aim.planned, *(net.gateway for net in aim.nets if net.gateway is not None)}
    for _ in range(ROUNDS):
        for address in seen.asked:
            if address not in seen.answers:
                _ask(link, arp_request(mac, _sender(link, address), address), frames)
                _hear(link, link.now() + EVERY, seen, planned, frames)
            if _enough(seen, aim):
                break
        until = link.now() + WAIT
        while link.now() < until:
            _hear(link, min(until, link.now() + EVERY), seen, planned, frames)
        if _enough(seen, aim):
            break
    seen.spent = link.now() - begin
    return seen


def _sender(link: Link, address: int) -> int:
    """Return this computer's address in the subnet of another address, 0 if it has none there."""
    own = link.adapters[0].addresses
    return next((one for one, length in own if not (one ^ address) >> (32 - length)), 0)


def _ask(link: Link, frame: bytes, frames: Frames | None) -> None:
    at = link.send(frame)
    if at is not None and frames is not None:
        frames(at, 0, frame, True)


def _hear(link: Link, until: float, seen: FirstLook, planned: Collection[int], frames: Frames | None) -> None:
    while True:
        for news in link.receive(until):
            if isinstance(news, Heard) and frames is not None:
                frames(news.at, news.adapter, news.frame, False)
            if not isinstance(news, Heard) or news.adapter:
                continue
            arp = arp_from_wire(news.frame)
            if arp is None or arp.sender_mac == link.adapters[0].mac or not believable(arp.sender_mac):
                continue
            seen.macs.add(arp.sender_mac)
            if arp.sender_ip in planned:
                seen.answers.setdefault(arp.sender_ip, set()).add(arp.sender_mac)
        if link.now() >= until:
            return


def _enough(seen: FirstLook, aim: Scope) -> bool:
    """Return whether an address of every subnet was heard, and two devices were heard."""
    return len(seen.macs) >= ENOUGH and not silent_nets(seen, aim)


def silent_nets(seen: FirstLook, aim: Scope) -> list[Net]:
    """Return the subnets in which an address was asked and none was heard."""
    asked = [net for net in aim.nets if any(net.holds(address) for address in seen.asked)]
    return [net for net in asked if not any(net.holds(address) for address in seen.answers)]


def warnings(seen: FirstLook, aim: Scope, interface: str, others: Iterable[NetworkInterface]) -> list[str]:
    """Return the warnings for the operator, each as one or two sentences without the last full stop."""
    said = [_silent(net, interface, others) for net in silent_nets(seen, aim)]
    macs = set().union(*seen.answers.values()) if seen.answers else set()
    if len(seen.macs) == 1 and len(macs) == 1:
        (mac,) = macs
        where = listed([f"{safe(aim.planned.get(a, 'the gateway'))} ({quad(a)})" for a in sorted(seen.answers)])
        said.append(
            f"Only one device answers on {safe(interface)}: {mac_text(mac)}, for {where}. This looks like a direct "
            "cable: prove it with --direct. Through a switch another device must answer while a cable is out"
        )
    return said


def _silent(net: Net, interface: str, others: Iterable[NetworkInterface]) -> str:
    prefix = Prefix(4, net.first, net.length)
    there = [
        f"{safe(one.name)} has {Address(4, address)} there"
        for one in others
        for address, _ in one.addresses
        if one.name != interface and net.holds(address)
    ]
    where = f"; {listed(there)}: is it the right interface?" if there else ": is it the right interface and cable?"
    return f"No device of subnet {safe(net.name)} ({prefix}) answers on {safe(interface)}{where}"
