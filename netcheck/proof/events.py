"""Events from the prober to the screen, the bell and the record; keys from the operator to the prober.

`RunOptions` are the options of a run.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from netcheck.proof.result import Proof


class What(StrEnum):
    """The kind of an event."""

    BEGIN = "begin"  # the turn of a port begins
    DO = "do"  # the one thing that the technician should do now
    WAIT = "wait"  # there is nothing to do but to wait for what the text says
    HEARD = "heard"  # the address answers
    KNOWN = "known"  # on a walk: it has answered often enough that a silence is evidence
    SILENT = "silent"  # it fell silent
    ENOUGH = "enough"  # the evidence of a phase suffices
    RETURNED = "returned"  # it answers again
    SEEN = "seen"  # on a walk: pulled once, a second pull follows
    WARN = "warn"  # something is wrong: the wrong cable, a second owner, a pull that was too short
    NEXT = "next"  # the port after the one under test; its answers are counted already
    NOTE = "note"
    VERDICT = "verdict"


class Action(StrEnum):
    """What the technician is asked to do with a cable, in an event of the kind `do`."""

    CONNECT = "connect"  # make sure that the cable of the port is plugged in
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
    action: Action | None = None  # what to do, if `what` is `do`


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
    """The ports that match the text by which the operator chooses the next port, best match first."""

    subjects: tuple[str, ...]


Press = Key | int | Chosen | TypedLine  # a number is the row of a port on the screen


@dataclass(frozen=True, slots=True, kw_only=True)
class RunOptions:
    """The options of a run. Times are in seconds."""

    hands_free: bool = False
    direct: bool = False
    patience: float = 60.0  # how long the run waits for a first answer and for a pull
    out_for: float = 0.0  # the least length of a silence
    luck: float = 1e-4  # limit of the chance that a silence is luck
    unheard: float = 1e-3  # limit of the chance that a second owner was not heard
    pace: float = 500.0  # frames a second
    pace_each: float = 5.0  # frames a second to one address
    revisits: bool = False  # a skipped port has one more turn at the end
    once: bool = False  # on a walk: one pull is enough
    in_order: bool = False  # on a walk: the ports are announced in the plan's order
    typed: bool = False  # find the typed mask and gateway by behaviour, on a direct cable
    overhears: bool = False  # the link also receives echo replies to other MACs
    lasts: float | None = None  # on a walk: seconds until it ends; None: it ends when every port is settled
