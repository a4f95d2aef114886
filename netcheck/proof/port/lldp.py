"""What the device at the far end of a direct cable says of itself by LLDP: bridges never forward it (IEEE 802.1AB)."""

from __future__ import annotations

import re

from netcheck.proof.port.state import PortState
from netcheck.text import safe
from netcheck.wire.frames import Lldp

LONGEST_TEXT = 200  # characters of a device's own words that are kept
_NUMBERED = re.compile(r"port[-_ ]?0*([0-9]+)", re.ASCII)


def heard_on_cable(case: PortState) -> tuple[Lldp, ...]:
    """What was heard since this port's cable came in, each port once, in order; nothing unless the cable is direct."""
    if not case.run.settings.direct:
        return ()
    said = {one.port: one for at, one in case.run.neighbours if case.plugged <= at <= case.ended and one.ttl}
    return tuple(said.values())


def connector(case: PortState) -> str:
    """Which connector is known by what: `lldp` where the port heard, and no other, names the plan's port."""
    heard = heard_on_cable(case)
    return "lldp" if heard and all(names_port(one, case.target.port) for one in heard) else case.connector


def other_port(case: PortState) -> str:
    """Another port of the same interface that was named; empty where none was."""
    ports = [one.port for one in case.run.scope.targets if one.interface == case.target.interface]
    strange = [one for one in heard_on_cable(case) if not names_port(one, case.target.port)]
    return next((port for port in ports for one in strange if names_port(one, port)), "")


def names_port(said: Lldp, port: str) -> bool:
    """Say whether a port id or description is a port's name in the plan, or `port` and its number."""
    wanted = _plain(port)
    numbers = [_NUMBERED.fullmatch(_plain(name)) for name in (said.port, said.port_description)]
    same = wanted in (_plain(said.port), _plain(said.port_description))
    return same or any(found is not None and found.group(1) == wanted for found in numbers)


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())


def lldp_evidence(case: PortState) -> tuple[tuple[str, str], ...]:
    """Pairs for a proof: the system's name and its ports, as far as they were told."""
    heard = heard_on_cable(case)
    names = dict.fromkeys(safe(one.system_name, LONGEST_TEXT) for one in heard if one.system_name)
    ports = [safe(one.port, LONGEST_TEXT) for one in heard]
    pairs = (("lldp system name", ", ".join(names)), ("lldp port", ", ".join(ports)))
    return tuple((name, text) for name, text in pairs if text)
