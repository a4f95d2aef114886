"""Gathers the facts about the plan and this computer that `ready` judges. It sends nothing and changes nothing.

One of the facts is an address of this computer that the plan gives to a device. The operating system answers for its
own addresses on any interface (weak host model, RFC 1122 section 3.3.4.2), and a link does not hear its own computer.
Therefore such an address cannot be proven, whichever interface has it.
"""

from __future__ import annotations

import ctypes
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from enum import StrEnum
from pathlib import Path

from netcheck.addr import quad
from netcheck.errors import LinkError, Problem
from netcheck.plan.model import Plan
from netcheck.proof.targets import Net, Scope, scope_of
from netcheck.text import safe
from netcheck.wire.link import NetworkInterface
from netcheck.wire.links.open import Kind, open_link
from netcheck.wire.linux import netlink
from netcheck.wire.station import interfaces

_TIMEX = 512  # bytes, more than struct timex has (adjtimex(2))
_NOT_SYNCHRONISED = 5  # TIME_ERROR


class Level(StrEnum):
    """The result of a check: `ok`, `fix` before proving, or `note` for information."""

    OK = "ok"
    FIX = "fix"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class ReadinessCheck:
    """The result of one check: `about` is its subject, `what` the finding, and `do` what to do, "" for nothing."""

    level: Level
    about: str
    what: str
    do: str = ""


class RecordState(StrEnum):
    """What exists at the path where the record will be written."""

    NEW = "new"  # nothing, and the folder can be written
    GOES_ON = "goes on"  # a record of this plan
    TORN = "torn"  # the same, with an incomplete last line
    OTHER_PLAN = "other plan"
    UNUSABLE = "unusable"


@dataclass(frozen=True, slots=True)
class RecordFact:
    """The path of the record and what exists there; `said` gives details, and `do` what to do."""

    path: str
    state: RecordState
    said: str = ""
    do: str = ""


@dataclass(frozen=True, slots=True)
class SystemTime:
    """The computer's time with its zone, and whether a time server keeps it: None if the system does not say."""

    now: datetime
    synchronised: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """The input of `readiness.judge`.

    `refusal` is why the link cannot be opened, None if it can. `routes` is None if the system does not give them.
    `surveyed` are the dates of the plan's surveys.
    """

    interface: str
    kind: str
    interfaces: tuple[NetworkInterface, ...]
    aim: Scope
    clock: SystemTime
    record: RecordFact
    wireless: frozenset[str] = frozenset()
    routes: tuple[netlink.KernelRoute, ...] | None = ()
    refusal: Problem | None = None
    surveyed: tuple[date, ...] = ()

    @property
    def chosen(self) -> NetworkInterface | None:
        """The interface to prove through."""
        return next((one for one in self.interfaces if one.name == self.interface), None)

    @property
    def others(self) -> list[NetworkInterface]:
        """The computer's other interfaces that are switched on, except the loopback."""
        return [one for one in self.interfaces if one.name != self.interface and one.up and not one.loopback]

    @property
    def nets(self) -> list[Net]:
        """The subnets that hold an address to be proven."""
        names = {target.subnet for target in self.aim.asked if not target.barred}
        return [net for net in self.aim.nets if net.name in names]


def gather(plan: Plan, interface: str, kind: Kind, record: RecordFact, only: Sequence[str] = ()) -> Facts:
    """Return the facts about this computer and a plan.

    Raises LinkError if the system does not list its interfaces, and UsageError for a word in `only` that names no port.
    """
    return replace(
        facts_now(scope_of(plan, only=only), interface, kind),
        clock=SystemTime(datetime.now().astimezone(), synchronised()),
        record=record,
        refusal=_refusal(kind, interface),
        surveyed=tuple(survey.taken for survey in plan.surveys if survey.taken is not None),
    )


def facts_now(aim: Scope, interface: str, kind: str) -> Facts:
    """Return the facts about this computer for a run that begins now and whose link is open."""
    there = tuple(interfaces())
    return Facts(
        interface=interface,
        kind=kind,
        interfaces=there,
        aim=aim,
        clock=SystemTime(datetime.now().astimezone(), None),
        record=RecordFact("", RecordState.NEW),
        wireless=frozenset(one.name for one in there if _wireless(one)),
        routes=_routes(),
    )


def _refusal(kind: Kind, interface: str) -> Problem | None:
    """Open the link and close it; return why it cannot be opened, None if it can."""
    try:
        open_link(kind, interface).close()
    except LinkError as error:
        return error.problems[0]
    return None


def _routes() -> tuple[netlink.KernelRoute, ...] | None:
    try:
        if sys.platform == "win32":
            from netcheck.wire.windows.adapters import routes

            return routes()
        elif sys.platform == "linux":  # noqa: RET505  # the type checker judges the branches by system
            return tuple(netlink.routes())
        else:
            from netcheck.wire.macos import routes as listed_by_macos

            return listed_by_macos()
    except OSError:
        return None


def _wireless(one: NetworkInterface) -> bool:
    """Return whether the system lists an interface as wireless."""
    folder = Path("/sys/class/net", one.name)
    return one.wireless or any((folder / sign).exists() for sign in ("wireless", "phy80211"))


def synchronised() -> bool | None:
    """Return whether the kernel says that a time server keeps the clock; None if the system does not say."""
    if sys.platform == "linux":
        try:
            state = ctypes.CDLL(None).adjtimex(ctypes.create_string_buffer(_TIMEX))  # all zeros: reads, changes nothing
        except (OSError, AttributeError):
            return None
        return None if state < 0 else bool(state != _NOT_SYNCHRONISED)
    else:  # noqa: RET505  # the type checker judges the branches by system
        return None


DO = "Remove the address from this computer, or correct the plan; then start again"


@dataclass(frozen=True, slots=True)
class HeldAddress:
    """A planned address that this computer has.

    `address` is 32 bits, `on` the interface of this computer, and `planned_for` the device interface of the plan.
    """

    address: int
    on: str
    planned_for: str

    def __str__(self) -> str:
        return (
            f"{quad(self.address)} is planned for {safe(self.planned_for)}, and this computer has it on {safe(self.on)}"
        )


def planned_addresses_held(
    interfaces: Iterable[NetworkInterface], planned: Mapping[int, str]
) -> tuple[HeldAddress, ...]:
    """Return the planned addresses that any interface has. `planned` maps addresses to device interfaces."""
    return tuple(
        HeldAddress(address, one.name, planned[address])
        for one in interfaces
        for address, _ in one.addresses
        if address in planned
    )


def demand_no_planned_address(interfaces: Iterable[NetworkInterface], planned: Mapping[int, str]) -> None:
    """Raise LinkError if any interface has a planned address, with one problem for each such address."""
    if held := planned_addresses_held(interfaces, planned):
        raise LinkError(*(Problem(str(one), do=DO) for one in held))
