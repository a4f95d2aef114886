"""What the site's IT may be asked for, as values: one request a row, and zone lines by file."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    """What is asked for."""

    RESERVATION = "reservation"
    POOL = "pool change"
    DNS = "DNS record"
    CONVERSATION = "conversation"
    SWITCH_PORT = "switch port"


@dataclass(frozen=True, slots=True)
class Request:
    """One thing asked for; texts are as in the plan, and empty where they do not belong to the kind. `what` is the
    zone line, the pool as it would be, or the far end of a conversation; `note` says what it waits for."""

    kind: Kind
    subject: str
    island: str = ""
    address: str = ""
    mac: str = ""
    host_name: str = ""
    subnet: str = ""
    vlan: str = ""
    switch_port: str = ""
    what: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Zone:
    """Lines of one zone file, fit to be put in (RFC 1035 section 5.1)."""

    title: str
    text: str


@dataclass(frozen=True, slots=True)
class Asked:
    """Everything that is asked for, in plan order within each kind."""

    requests: tuple[Request, ...]
    zones: tuple[Zone, ...]

    def of(self, kind: str) -> tuple[Request, ...]:
        """The requests of one kind."""
        return tuple(request for request in self.requests if request.kind == kind)
