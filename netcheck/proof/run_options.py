"""The options of one run."""

from __future__ import annotations

from dataclasses import dataclass


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
