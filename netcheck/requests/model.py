"""Defines the requests to the site's IT, and zone lines by file."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class RequestKind(StrEnum):
    """The kind of a request, by the thing requested."""

    RESERVATION = "reservation"
    POOL = "pool change"
    DNS = "DNS record"
    CONVERSATION = "conversation"
    SWITCH_PORT = "switch port"


@dataclass(frozen=True, slots=True)
class Request:
    """One request. Texts are those of the plan; a value that the kind does not have is empty.

    `what` is the zone line, the ranges that remain of a pool, or the far end of a conversation with its service. A
    conversation has one request for each service: `to` and `to_address` are the far end, `opened_by` is the side that
    opens connections. `note` names the findings for which the request waits. `granted` says who granted the request,
    when, and under which ticket.
    """

    kind: RequestKind
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
    to: str = ""
    to_address: str = ""
    protocol: str = ""
    port: str = ""
    opened_by: str = ""
    granted: str = ""


@dataclass(frozen=True, slots=True)
class Zone:
    """Lines of one zone file, ready to be inserted (RFC 1035 section 5.1)."""

    title: str
    text: str


@dataclass(frozen=True, slots=True)
class Asked:
    """All requests, in plan order within each kind."""

    requests: tuple[Request, ...]
    zones: tuple[Zone, ...]

    @property
    def needed(self) -> tuple[Request, ...]:
        """Return the requests that the site has not granted yet."""
        return tuple(request for request in self.requests if not request.granted)

    def of(self, kind: str) -> tuple[Request, ...]:
        """Return the requests of one kind."""
        return tuple(request for request in self.requests if request.kind == kind)
