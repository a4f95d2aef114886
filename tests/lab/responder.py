"""Devices in user space with deliberate faults, all on one interface: `python responder.py '{"interface": ...}'`.

It prints `ready` when it listens, and ends by itself after its lifetime. `respond` starts it in a laboratory. This is
its task:

    {"interface": "eth0", "lifetime": 60, "seed": 1, "hosts": [...], "flood": {"a_second": 20000, "kind": "arp"}}

A host has `address` and `mac`, and these faults:

- `count`: the number of hosts; each has the next address and the next MAC.
- `loss`: the share of requests without a reply. `delay`: seconds until it replies. `ttl`: the TTL of its echo replies.
- `arp` false: it does not answer ARP. `broadcasts` true: it sends ARP replies to everybody (RFC 3927 section 2.5).
- `begins`, `ends`: it answers only between these times, in seconds after the start.
- `proxy` true: it answers for every address, but never an ARP probe from 0.0.0.0.
- `self_check`: it checks its address at each link-up as in RFC 5227, with all waits multiplied by this factor, and
  gives the address up if another host contests it.
- `echo`: "answer", "blocked", "wrong-identifier", "wrong-payload", "wrong-source" (IP) or "wrong-mac" (Ethernet).

Two hosts may have one address. `flood` sends a stranger's broadcasts: "arp" for foreign addresses, or "udp".
"""

from __future__ import annotations

import heapq
import json
import os
import select
import socket
import subprocess
import sys
import time
from dataclasses import dataclass, field, replace
from itertools import count
from pathlib import Path
from random import Random
from typing import Any

from netcheck.addr import Address, Mac
from netcheck.wire.frames import (
    BROADCAST,
    ECHO_REPLY,
    ECHO_REQUEST,
    REQUEST,
    Arp,
    Echo,
    arp_from_wire,
    arp_reply,
    arp_request,
    echo_from_wire,
    echo_to_wire,
    padded,
)
from tests.lab.netns import Lab

STRANGER = 0x020000000099
ALL = 0x0003  # ETH_P_ALL
EVERYBODY = BROADCAST.to_bytes(6, "big")


@dataclass
class Host:
    """One device: its address, its MAC and its faults; see the module."""

    address: int
    mac: int
    loss: float = 0.0
    delay: float = 0.0
    ttl: int = 64
    arp: bool = True
    echo: str = "answer"
    begins: float = 0.0
    ends: float = float("inf")
    proxy: bool = False
    broadcasts: bool = False
    self_check: float = 0.0
    quiet_until: float = 0.0  # the time at which its address check ends
    lost_address: bool = False

    def answers_at(self, age: float) -> bool:
        """Return whether the host answers at this age of the process, in seconds."""
        return not self.lost_address and max(self.begins, self.quiet_until) <= age < self.ends


@dataclass
class Task:
    """The task of one process."""

    interface: str
    hosts: list[Host]
    lifetime: float = 60.0
    seed: int = 1
    flood: dict[str, Any] = field(default_factory=dict)


def task_from(text: str) -> Task:
    """Return the task that a JSON text describes."""
    said = json.loads(text)
    hosts: list[Host] = []
    for entry in said.pop("hosts", []):
        entry["address"] = Address.from_text(entry["address"]).value
        entry["mac"] = Mac.from_text(entry["mac"]).value
        more = entry.pop("count", 1)
        first = Host(**entry)
        hosts.extend(replace(first, address=first.address + step, mac=first.mac + step) for step in range(more))
    return Task(hosts=hosts, **said)


class Responder:
    """Answers for the devices of one task on one packet socket."""

    def __init__(self, task: Task) -> None:
        self.task = task
        self.random = Random(task.seed)
        self.begin = time.monotonic()
        self.by_address: dict[int, list[Host]] = {}
        for host in task.hosts:
            self.by_address.setdefault(host.address, []).append(host)
        self.by_mac = {host.mac: host for host in task.hosts}
        self.proxies = [host for host in task.hosts if host.proxy]
        self.waiting: list[tuple[float, int, bytes]] = []
        self.ties = count()
        self.carrier = False
        self.socket = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
        self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4 << 20)
        self.socket.bind((task.interface, ALL if task.hosts else 0))
        self.socket.setblocking(False)
        self.flooded = 0

    def age(self) -> float:
        """The seconds since the start."""
        return time.monotonic() - self.begin

    def run(self) -> None:
        """Answer until the end of the lifetime."""
        print("ready", flush=True)
        while (age := self.age()) < self.task.lifetime:
            self.start_checks_at_link_up(age)
            due = self.waiting[0][0] - age if self.waiting else 1.0
            longest = 0.001 if self.task.flood else 0.01
            if select.select([self.socket], [], [], max(0.0, min(due, longest)))[0]:
                self.drain()
            self.send_due_answers()
            self.flood()

    def drain(self) -> None:
        """Answer everything in the queue."""
        for _ in range(10_000):
            try:
                frame, sender = self.socket.recvfrom(2048)
            except OSError:  # the queue is empty, or the interface is down at the moment
                return
            if sender[2] != socket.PACKET_OUTGOING:
                self.hear(frame)

    def hear(self, frame: bytes) -> None:
        """Answer one frame."""
        if (arp := arp_from_wire(frame)) is not None:
            self.hear_arp(arp)
        elif (echo := echo_from_wire(frame)) is not None and echo.type == ECHO_REQUEST:
            self.hear_echo(echo)

    def hear_arp(self, arp: Arp) -> None:
        """Answer an ARP request; give up an address that is contested while it is checked (RFC 5227 section 2.1.1)."""
        for host in self.by_address.get(arp.sender_ip or arp.target_ip, []):
            checking = self.age() < host.quiet_until
            if checking and arp.sender_mac != host.mac and (arp.sender_ip or arp.op == REQUEST):
                host.lost_address = True
        if arp.op != REQUEST:
            return
        for host in self.by_address.get(arp.target_ip, []):
            if host.arp and arp.destination in (BROADCAST, host.mac):
                reply = arp_reply(host.mac, arp.target_ip, arp.sender_mac, arp.sender_ip)
                self.answer(host, EVERYBODY + reply[6:] if host.broadcasts else reply)
        for host in self.proxies:
            if arp.target_ip not in (arp.sender_ip, host.address) and arp.sender_ip:
                self.answer(host, arp_reply(host.mac, arp.target_ip, arp.sender_mac, arp.sender_ip))

    def hear_echo(self, echo: Echo) -> None:
        """Answer an echo request to a host's MAC, for its own address, or for any address if it is a proxy."""
        host = self.by_mac.get(echo.destination)
        if host is None or host.echo == "blocked" or not (host.proxy or echo.target_ip == host.address):
            return
        reply = Echo(
            echo.source, host.mac, echo.target_ip, echo.source_ip, host.ttl, ECHO_REPLY, echo.identifier, echo.sequence,
            echo.payload,
        )  # fmt: skip
        self.answer(host, echo_to_wire(_with_fault(reply, host.echo)))

    def answer(self, host: Host, frame: bytes) -> None:
        """Send an answer; the host's faults may drop or delay it."""
        age = self.age()
        if not host.answers_at(age) or self.random.random() < host.loss:
            return
        if host.delay:
            heapq.heappush(self.waiting, (age + host.delay, next(self.ties), frame))
        else:
            self.send(frame)

    def send(self, frame: bytes) -> None:
        """Send one frame; a frame that cannot leave is lost."""
        try:
            self.socket.send(padded(frame))
        except OSError:
            return

    def send_due_answers(self) -> None:
        """Send the delayed answers that are due."""
        while self.waiting and self.waiting[0][0] <= self.age():
            self.send(heapq.heappop(self.waiting)[2])

    def start_checks_at_link_up(self, age: float) -> None:
        """At each link-up, start the address check of the hosts with `self_check` (RFC 5227 sections 2.1.1 and 2.3)."""
        try:
            carrier = Path("/sys/class/net", self.task.interface, "carrier").read_text().strip() == "1"
        except OSError:
            carrier = False
        if carrier and not self.carrier:
            for host in self.task.hosts:
                if host.self_check:
                    self.check_address(host, age)
        self.carrier = carrier

    def check_address(self, host: Host, age: float) -> None:
        """Send three probes and two announcements; answer nothing before the first announcement."""
        host.lost_address = False
        for wait in (0.5, 2.0, 3.5):
            frame = arp_request(host.mac, 0, host.address)
            heapq.heappush(self.waiting, (age + wait * host.self_check, next(self.ties), frame))
        for wait in (5.5, 7.5):
            frame = arp_request(host.mac, host.address, host.address)
            heapq.heappush(self.waiting, (age + wait * host.self_check, next(self.ties), frame))
        host.quiet_until = age + 5.5 * host.self_check

    def flood(self) -> None:
        """Send the foreign broadcasts that are due."""
        if not self.task.flood:
            return
        if self.task.flood.get("kind", "arp") == "arp":
            frame = padded(arp_request(STRANGER, 0xCB007101, 0xCB007102))
        else:
            frame = padded(b"\xff" * 6 + STRANGER.to_bytes(6, "big") + b"\x08\x00\x45" + bytes(8) + b"\x11")
        due = int(self.age() * self.task.flood["a_second"])
        for _ in range(min(due - self.flooded, 2000)):
            self.send(frame)
        self.flooded = due


def _with_fault(reply: Echo, how: str) -> Echo:
    match how:
        case "wrong-identifier":
            return reply._replace(identifier=reply.identifier ^ 1)
        case "wrong-payload":
            return reply._replace(payload=bytes(len(reply.payload)))
        case "wrong-source":
            return reply._replace(source_ip=reply.source_ip ^ 1)
        case "wrong-mac":
            return reply._replace(source=reply.source ^ 1)
        case _:
            return reply


def respond(lab: Lab, namespace: str, interface: str, *hosts: dict[str, Any], **task: Any) -> subprocess.Popen[bytes]:
    """Start these devices on an interface, and return after they have begun to listen. The laboratory ends them."""
    text = json.dumps({"interface": interface, "hosts": hosts, **task})
    command = [sys.executable, __file__, text]
    root = str(Path(__file__).parents[2])
    process = lab.start(namespace, command, stdout=subprocess.PIPE, cwd=root, env={**os.environ, "PYTHONPATH": root})
    assert process.stdout is not None
    if process.stdout.readline() != b"ready\n":
        raise RuntimeError("the responder did not start")
    return process


if __name__ == "__main__":
    Responder(task_from(sys.argv[1])).run()
