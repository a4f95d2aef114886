"""LLDP on a direct cable: bridges never forward it, so that it names what the cable is plugged into (IEEE 802.1AB).

It counts only from the device under test: by its chassis id or its source MAC, or by its management address. A device
with a built-in switch often sends from a MAC of its port, which no plan names; then its management address is the
planned one (common practice, no source). Any other speaker is something between this computer and the device.
"""

from __future__ import annotations

import re

from netcheck.addr import mac_text
from netcheck.proof.port.state import PortState
from netcheck.text import safe
from netcheck.wire.frames import Lldp

LONGEST_TEXT = 200  # characters of a device's own text that are kept
_NUMBERED = re.compile(r"port[-_ ]?0*([0-9]+)", re.ASCII)


def heard_on_cable(port: PortState) -> tuple[Lldp, ...]:
    """Return what was heard since this port's cable came in, each speaker and port once, in order; nothing unless the
    cable is direct."""
    if not port.run.options.direct:
        return ()
    said = {(x.source, x.port): x for at, x in port.run.neighbours if port.plugged <= at <= port.ended and x.ttl}
    return tuple(said.values())


def of_device(port: PortState) -> tuple[Lldp, ...]:
    """Return what the device under test says of itself."""
    return tuple(said for said in heard_on_cable(port) if _is_device(port, said))


def foreign(port: PortState) -> tuple[int, ...]:
    """Return the source MACs of all other speakers."""
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
    """Return what tells the connector: `lldp` where the device names the plan's port, and no other."""
    said = of_device(port)
    named = bool(said) and all(names_port(one, port.target.port) for one in said)
    return "lldp" if named and not foreign(port) else port.connector


def other_port(port: PortState) -> str:
    """Return another port of the same interface that the device named; empty where it named none."""
    ports = [one.port for one in port.run.scope.targets if one.interface == port.target.interface]
    strange = [one for one in of_device(port) if not names_port(one, port.target.port)]
    return next((name for name in ports for one in strange if names_port(one, name)), "")


def names_port(said: Lldp, port: str) -> bool:
    """Say whether a port id or description is a port's name in the plan, or `port` and its number."""
    wanted = _plain(port)
    numbers = [_NUMBERED.fullmatch(_plain(name)) for name in (said.port, said.port_description)]
    same = wanted in (_plain(said.port), _plain(said.port_description))
    return same or any(found is not None and found.group(1) == wanted for found in numbers)


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())


def lldp_evidence(port: PortState) -> tuple[tuple[str, str], ...]:
    """Return pairs for a proof: the system's name and its ports, as far as the device named them."""
    heard = of_device(port)
    names = dict.fromkeys(safe(one.system_name, LONGEST_TEXT) for one in heard if one.system_name)
    ports = [safe(one.port, LONGEST_TEXT) for one in heard]
    pairs = (("lldp system name", ", ".join(names)), ("lldp port", ", ".join(ports)))
    return tuple((name, text) for name, text in pairs if text)
