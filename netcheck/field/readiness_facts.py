"""What `ready` judges, and what it says: facts of this computer and the plan, and lines."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum

from netcheck.errors import Problem
from netcheck.proof.targets import Net, Scope
from netcheck.wire.interface import NetworkInterface
from netcheck.wire.linux.netlink import KernelRoute


class Level(StrEnum):
    """Whether anything is to be done: nothing, something before proving, or something to know."""

    OK = "ok"
    FIX = "fix"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class ReadinessCheck:
    """One thing that was looked at; `do` says what to do, where there is something."""

    level: Level
    about: str
    what: str
    do: str = ""


class RecordState(StrEnum):
    """What is at the place where the record will be written."""

    NEW = "new"  # nothing yet, and the folder can be written
    GOES_ON = "goes on"  # a record of this plan
    TORN = "torn"  # the same, its last line cut short
    OTHER_PLAN = "other plan"
    UNUSABLE = "unusable"


@dataclass(frozen=True, slots=True)
class RecordFact:
    """The record's place and what is there; `said` is what is to be known of it, and `do` what can be done."""

    path: str
    state: RecordState
    said: str = ""
    do: str = ""


@dataclass(frozen=True, slots=True)
class SystemTime:
    """The computer's time (aware), and whether the system keeps it by a time server: None where that is not known."""

    now: datetime
    synchronised: bool | None


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything the judgement looks at. `refusal` is why the link cannot be opened; `routes` None where the system
    does not tell them."""

    interface: str
    kind: str
    interfaces: tuple[NetworkInterface, ...]
    aim: Scope
    clock: SystemTime
    record: RecordFact
    wireless: frozenset[str] = frozenset()
    routes: tuple[KernelRoute, ...] | None = ()
    refusal: Problem | None = None
    surveyed: tuple[date, ...] = field(default=())  # when the plan's surveys were taken

    @property
    def chosen(self) -> NetworkInterface | None:
        """The interface to prove through."""
        return next((one for one in self.interfaces if one.name == self.interface), None)

    @property
    def others(self) -> list[NetworkInterface]:
        """The station's other interfaces that are switched on, but for the loopback."""
        return [one for one in self.interfaces if one.name != self.interface and one.up and not one.loopback]

    @property
    def nets(self) -> list[Net]:
        """The subnets that hold an address to be proven."""
        names = {target.subnet for target in self.aim.asked if not target.barred}
        return [net for net in self.aim.nets if net.name in names]
