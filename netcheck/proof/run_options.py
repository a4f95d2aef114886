"""The options of one run."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class RunOptions:
    """How a run is done. Times are in seconds."""

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
