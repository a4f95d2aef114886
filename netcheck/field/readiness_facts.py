"""The facts that `ready` judges, and its result: facts of this computer and the plan, and checks."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from netcheck.errors import Problem
from netcheck.proof.targets import Net, Scope
from netcheck.wire.interface import NetworkInterface
from netcheck.wire.linux.netlink import KernelRoute


class Level(StrEnum):
    """Whether something is to be done: nothing, something before proving, or nothing but something to know."""

    OK = "ok"
    FIX = "fix"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class ReadinessCheck:
    """The result of one check: `about` is its subject, `do` says what to do, if anything."""

    level: Level
    about: str
    what: str
    do: str = ""


class RecordState(StrEnum):
    """What exists at the path where the record will be written."""

    NEW = "new"  # nothing yet, and the folder can be written
    GOES_ON = "goes on"  # a record of this plan
    TORN = "torn"  # the same, with an incomplete last line
    OTHER_PLAN = "other plan"
    UNUSABLE = "unusable"


@dataclass(frozen=True, slots=True)
class RecordFact:
    """The record's path and what exists there; `said` gives details, `do` says what to do."""

    path: str
    state: RecordState
    said: str = ""
    do: str = ""


@dataclass(frozen=True, slots=True)
class SystemTime:
    """The computer's time (aware), and whether a time server keeps it: None if the system does not tell."""

    now: datetime
    synchronised: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """Everything that the judgement depends on. `refusal` is why the link cannot be opened; `routes` is None if the
    system does not tell them; `surveyed` are the dates of the plan's surveys."""

    interface: str
    kind: str
    interfaces: tuple[NetworkInterface, ...]
    aim: Scope
    clock: SystemTime
    record: RecordFact
    wireless: frozenset[str] = frozenset()
    routes: tuple[KernelRoute, ...] | None = ()
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
