"""Which connector of a device the cable is in, by the signs of a moved cable or by LLDP on a direct cable.

A key alone is no evidence: a person can press it without moving a cable. Moving a cable disconnects the device for a
moment. If the plan attaches another device to the new connector, its cable must be unplugged first, and it falls
silent.

Bridges do not forward LLDP (IEEE 802.1AB), so on a direct cable LLDP names the connector that the cable is plugged
into. LLDP counts only if it comes from the device under test, by its chassis id, source MAC or management address. A
device with a built-in switch often sends LLDP from the MAC of its port, which no plan names, with the planned address
as its management address (common practice, no source). Any other LLDP speaker stands between this computer and the
device.
"""

from __future__ import annotations

import re
from collections.abc import Generator
from math import prod

from netcheck.addr import mac_text
from netcheck.proof.events import Action
from netcheck.proof.port.answers import TRIGGER, WINDOW
from netcheck.proof.port.state import PortState
from netcheck.proof.probing.address_state import EVER, AddressState, ProbeKind
from netcheck.proof.result import Tally
from netcheck.proof.run_state import FRESH
from netcheck.proof.verdict.silence_rule import ARP_EVERY, ECHO_EVERY, luck
from netcheck.text import listed, safe
from netcheck.wire.frames import Lldp

CHECK_EVERY = 0.25  # seconds between checks for a movement
ENTER = "then press Enter"
SHOWS = 4.0  # seconds after Enter in which the movement must show: a miss is known after one to three seconds
FREED = 3.0  # seconds in which a device that is still attached to the connector answers: it is asked once a second
MISSES = 3  # requests in a row that a device misses while its cable is moved
LONGEST_TEXT = 200  # characters of a device's own text that are kept
_NUMBERED = re.compile(r"port[-_ ]?0*([0-9]+)", re.ASCII)


def move(port: PortState, words: str) -> Generator[None, None, None]:
    """Ask for the cable to be moved to this connector, and wait for Enter.

    Enter sets the connector only if there is evidence of the movement. Without evidence, ask once more.
    """
    run, where = port.run, port.target.subject
    port.not_moved = True
    run.scheduler.ask(port.entry, run.now, arp=ARP_EVERY, echo=ECHO_EVERY, urgent=True)
    moving = Movement(port)
    for text in (
        words,
        f"Nothing shows that the cable was moved: unplug it for ten seconds, plug it into {where}, {ENTER}",
    ):
        port.ask(Action.MOVE, text)
        if (yield from _shown_after_enter(port, moving)):
            port.connector, port.not_moved = "operator", False
            return


def _shown_after_enter(port: PortState, moving: Movement) -> Generator[None, None, bool]:
    """Wait for Enter, and return whether there is evidence that the cable was moved.

    Enter is refused once while an interface behind the connector answers. At the second Enter the run goes on, because
    another device that has the address by mistake would answer forever.
    """
    run, entered_at, check_at, refused = port.run, EVER, 0.0, False
    while not run.options.hands_free:
        if run.take_enter():
            entered_at = run.now
        if blocked := moving.blocked(entered_at):
            if refused:
                return False
            entered_at, refused = EVER, True
            names = listed([run.label(entry) for entry in blocked])
            where = port.target.subject
            port.warn(f"{names} still answers, and the plan attaches it behind {where}: unplug it there, {ENTER}")
        elif run.now >= max(check_at, entered_at + (FREED if moving.behind else 0.0)):
            if moving.shown():
                return True
            if run.now > entered_at + SHOWS:
                return False
            check_at = run.now + CHECK_EVERY
        yield
    return False


class Movement:
    """The evidence, since the request, that the cable of a device was moved from one connector to another."""

    def __init__(self, port: PortState) -> None:
        """Note the state of the link and which interfaces behind the connector answer now."""
        run = port.run
        self.port, self.since, self.drops = port, run.now, run.drops
        others = {entry: run.owner_of.get(address) for address, entry in run.watched.items()}
        self.behind = [
            entry
            for entry, other in others.items()
            if other is not None and run.is_behind_port(other, port.target) and entry.answered_between(run.now - FRESH)
        ]

    def blocked(self, since: float) -> list[AddressState]:
        """Return the interfaces behind this connector that answered since *since*: their cable is still in it."""
        return [entry for entry in self.behind if entry.answered_between(since)]

    def shown(self) -> bool:
        """Return whether there is evidence of the movement.

        On a direct cable the link dropped or came up. Through a switch, the device missed more requests in a row than
        chance explains.
        """
        run, entry = self.port.run, self.port.entry
        if run.options.direct:
            return run.drops > self.drops or run.linked > self.since
        mac = entry.mac
        if mac is None:
            return False
        asked = entry.tallies(self.since - WINDOW, EVER, mac, cable_in=True)
        run_of = {ProbeKind.ARP: 0, ProbeKind.ECHO: 0}
        for probe in entry.probes:
            if probe.sent < self.since or probe.anonymous:
                continue
            if mac in probe.answers:
                run_of = dict.fromkeys(run_of, 0)
            elif probe.settled:
                run_of[probe.kind] += 1
                if self._no_luck(asked, (run_of[ProbeKind.ARP], run_of[ProbeKind.ECHO])):
                    return True
        return False

    def _no_luck(self, asked: tuple[Tally, Tally], missed: tuple[int, int]) -> bool:
        """Return whether chance does not explain this many misses in a row.

        `asked` are all requests, and `missed` the misses in a row, each as (ARP, echo).
        """
        kinds = [(tally, count) for tally, count in zip(asked, missed, strict=True) if tally.answered]
        if sum(count for _, count in kinds) < MISSES:
            return False
        return prod(luck(tally.sent - count, tally.answered, count) for tally, count in kinds) <= TRIGGER


def heard_on_cable(port: PortState) -> tuple[Lldp, ...]:
    """Return the LLDP frames heard since the cable of this port came in, the newest of each speaker and port.

    Empty if the cable is not direct.
    """
    if not port.run.options.direct:
        return ()
    said = {(x.source, x.port): x for at, x in port.run.neighbours if port.plugged <= at <= port.ended and x.ttl}
    return tuple(said.values())


def of_device(port: PortState) -> tuple[Lldp, ...]:
    """Return the LLDP frames of the device under test."""
    return tuple(said for said in heard_on_cable(port) if _is_device(port, said))


def foreign(port: PortState) -> tuple[int, ...]:
    """Return the source MACs of all other LLDP speakers on the direct cable."""
    others = (said.source for said in heard_on_cable(port) if not _is_device(port, said))
    return tuple(dict.fromkeys(others))


def _is_device(port: PortState, said: Lldp) -> bool:
    run, device = port.run, port.target.device
    macs = run.macs_of(device) | ({port.mac} if port.mac is not None else set())
    if said.source in macs or said.chassis in {mac_text(mac) for mac in macs}:
        return True
    owner = run.owner_of.get(said.address)
    return owner is not None and owner.device == device


def connector(port: PortState) -> str:
    """Return how the connector is known: "lldp" if the device names only the plan's port, else `port.connector`."""
    said = of_device(port)
    named = bool(said) and all(names_port(one, port.target.port) for one in said)
    return "lldp" if named and not foreign(port) else port.connector


def other_port(port: PortState) -> str:
    """Return another port of the same interface that the device names by LLDP; empty if it names none."""
    ports = [one.port for one in port.run.scope.targets if one.interface == port.target.interface]
    strange = [one for one in of_device(port) if not names_port(one, port.target.port)]
    return next((name for name in ports for one in strange if names_port(one, name)), "")


def names_port(said: Lldp, port: str) -> bool:
    """Return whether the port id or the port description is the port's name in the plan, or `port` and its number."""
    wanted = _plain(port)
    numbers = [_NUMBERED.fullmatch(_plain(name)) for name in (said.port, said.port_description)]
    same = wanted in (_plain(said.port), _plain(said.port_description))
    return same or any(found is not None and found.group(1) == wanted for found in numbers)


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())


def lldp_evidence(port: PortState) -> tuple[tuple[str, str], ...]:
    """Return evidence for the proof as (name, text): the system name and the ports that the device names by LLDP."""
    heard = of_device(port)
    names = dict.fromkeys(safe(one.system_name, LONGEST_TEXT) for one in heard if one.system_name)
    ports = [safe(one.port, LONGEST_TEXT) for one in heard]
    pairs = (("lldp system name", ", ".join(names)), ("lldp port", ", ".join(ports)))
    return tuple((name, text) for name, text in pairs if text)
