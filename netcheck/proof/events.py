"""Events from the prober to the screen, the bell and the record, and keys from the operator to the prober.

`RunOptions` are the options of a run, which the prober gets at its start.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from netcheck.proof.result import Proof


class What(StrEnum):
    """The kind of an event. `do` is the one thing the technician should do now."""

    BEGIN = "begin"  # a port's turn
    DO = "do"
    WAIT = "wait"  # nothing to do: which wait is running
    HEARD = "heard"  # the address answers
    KNOWN = "known"  # on a walk: it has answered often enough that a silence means something
    SILENT = "silent"  # it fell silent
    ENOUGH = "enough"  # the evidence of a phase suffices
    RETURNED = "returned"  # it answers again
    SEEN = "seen"  # on a walk: pulled once, to be pulled once more
    WARN = "warn"  # something is wrong: the wrong cable, a second owner, too soon
    NEXT = "next"  # the port after the one under test, which is asked already
    NOTE = "note"
    VERDICT = "verdict"


class Action(StrEnum):
    """What the technician is asked to do with a cable, in an event of the kind `do`."""

    CONNECT = "connect"  # see that the cable of the port is plugged in
    MOVE = "move"  # move the cable to the port, then press Enter
    PULL = "pull"  # pull the cable of the port
    PLUG = "plug"  # plug the cable of the port in again
    RESTORE = "restore"  # put every cable back as it was
    PULL_ANY = "pull any"  # on a walk: pull any cable


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One event at `at` seconds on the link's clock; `until` is the deadline of a wait."""

    at: float
    what: What
    port: str
    text: str
    until: float | None = None
    proof: Proof | None = None
    mac: int | None = None  # the MAC that was heard
    action: Action | None = None  # what to do, where `what` is `do`


class Key(StrEnum):
    """A key that the operator may press."""

    ENTER = "enter"
    SKIP = "s"
    AGAIN = "r"  # prove the port that ended last once more
    QUIT = "q"


class LineKey(StrEnum):
    """A key after which the operator types a line."""

    NEXT = "n"  # the port to prove next
    REMARK = "m"  # a remark on a port


@dataclass(frozen=True, slots=True)
class TypedLine:
    """A line that the operator typed after a key."""

    key: LineKey
    text: str


@dataclass(frozen=True, slots=True)
class Chosen:
    """The ports that the operator may mean by what was typed to choose the next one, best first."""

    subjects: tuple[str, ...]


Press = Key | int | Chosen | TypedLine  # a number names the row of a port


@dataclass(frozen=True, slots=True, kw_only=True)
class RunOptions:
    """How a run is done. Times are in seconds."""

    hands_free: bool = False
    direct: bool = False
    patience: float = 60.0  # how long a first answer and a pull are waited for
    out_for: float = 0.0  # the least length of a silence
    luck: float = 1e-4
    unheard: float = 1e-3
    pace: float = 500.0  # frames a second
    pace_each: float = 5.0  # frames a second to one address
    revisits: bool = False  # a skipped port is asked for once more at the end
    once: bool = False  # on a walk: one pull is enough
    in_order: bool = False  # on a walk: the ports are announced in the plan's order
    typed: bool = False  # find out mask and gateway by behaviour, on a direct cable
    overhears: bool = False  # the link also receives echo replies to other MACs
    lasts: float | None = None  # on a walk: seconds until it ends, None for until all is settled
