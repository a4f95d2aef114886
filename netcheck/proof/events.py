"""What the prober tells the screen, the record and the ear, and what the operator tells the prober."""

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
    NOTE = "note"
    VERDICT = "verdict"


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened at `at` seconds on the link's clock; `until` is when a wait ends, if it does."""

    at: float
    what: What
    port: str
    text: str
    until: float | None = None
    proof: Proof | None = None
    mac: int | None = None  # who was heard


class Key(StrEnum):
    """What the operator may say."""

    ENTER = "enter"
    SKIP = "s"
    QUIT = "q"


Press = Key | int  # a number names a port, where a walk must be told which one was pulled


@dataclass(frozen=True, slots=True)
class Settings:
    """How a run is done. Times in seconds; see 4-proof.md for what they are for."""

    hands_free: bool = False
    direct: bool = False
    patience: float = 60.0
    out_for: float = 0.0
    luck: float = 1e-4
    unheard: float = 1e-3
    pace: float = 500.0
    pace_each: float = 5.0
    once: bool = False  # on a walk: one pull is enough
    typed: bool = False  # find out mask and gateway by behaviour, on a direct cable
    overhears: bool = False  # the link hears echo answers to other MACs too
    lasts: float | None = None  # on a walk: seconds until it ends, None for until all is settled
