"""Gathers the facts that `ready` judges: interfaces, routes, the right to open the link, the clock.

It sends nothing and changes nothing.
"""

from __future__ import annotations

import ctypes
import sys
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from netcheck.errors import LinkError, Problem
from netcheck.field.readiness_facts import Facts, RecordFact, SystemTime
from netcheck.plan.model import Plan
from netcheck.proof.targets import scope_of
from netcheck.wire.interface import NetworkInterface
from netcheck.wire.links.open import Kind, open_link
from netcheck.wire.linux import netlink
from netcheck.wire.station import interfaces

_TIMEX = 512  # bytes, more than struct timex has (adjtimex(2))
_NOT_SYNCHRONISED = 5  # TIME_ERROR


def gather(plan: Plan, interface: str, kind: Kind, record: RecordFact, only: Sequence[str] = ()) -> Facts:
    """Return the facts of this computer and a plan; LinkError if the system does not list its interfaces, UsageError
    for a subject in `only` that the plan does not have."""
    there = tuple(interfaces())
    return Facts(
        interface=interface,
        kind=kind,
        interfaces=there,
        aim=scope_of(plan, only=only),
        clock=SystemTime(datetime.now().astimezone(), synchronised()),
        record=record,
        wireless=frozenset(one.name for one in there if _wireless(one)),
        routes=_routes(),
        refusal=_refusal(kind, interface),
        surveyed=tuple(survey.taken for survey in plan.surveys if survey.taken is not None),
    )


def _refusal(kind: Kind, interface: str) -> Problem | None:
    """Return why the link cannot be opened, None if it can. It is closed at once."""
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
            return None
    except OSError:
        return None


def _wireless(one: NetworkInterface) -> bool:
    """Return whether the system calls an interface wireless."""
    folder = Path("/sys/class/net", one.name)
    return one.wireless or any((folder / sign).exists() for sign in ("wireless", "phy80211"))


def synchronised() -> bool | None:
    """Return whether the kernel says that a time server keeps the clock; None if the system does not tell."""
    if sys.platform == "linux":
        try:
            state = ctypes.CDLL(None).adjtimex(ctypes.create_string_buffer(_TIMEX))  # all zeros: only asks
        except (OSError, AttributeError):
            return None
        return None if state < 0 else bool(state != _NOT_SYNCHRONISED)
    else:  # noqa: RET505  # the type checker judges the branches by system
        return None
