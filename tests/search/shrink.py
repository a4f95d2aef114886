"""Simplifies a scenario while a property of it still holds."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass, replace
from typing import Any, cast

from netcheck.rig.scenario import Scenario

KEPT = ("mode", "seed")  # fields that say which run it is


def shrunk(one: Scenario, holds: Callable[[Scenario], bool], tries: int = 400) -> Scenario:
    """Return the simplest scenario, found in at most `tries` tries, for which `holds` is still true."""
    left = tries
    simpler = True
    while simpler:
        simpler = False
        for other in _simpler(one):
            if left == 0:
                return one
            if not other.devices:
                continue
            left -= 1
            if holds(other):
                one, simpler = other, True
                break
    return one


def _simpler(value: Any) -> Iterator[Any]:
    """Yield every scenario that is one step simpler: an item left out, a field at its default, a rounder or shorter
    time.
    """
    if isinstance(value, tuple):
        for index in range(len(value)):
            yield value[:index] + value[index + 1 :]
        for index, item in enumerate(value):
            for other in _simpler(item):
                yield (*value[:index], other, *value[index + 1 :])
    elif is_dataclass(value) and not isinstance(value, type):
        given = [one for one in fields(value) if one.name not in KEPT and getattr(value, one.name) != one.default]
        for one in given:
            yield replace(cast(Any, value), **{one.name: one.default})
        for one in given:
            for other in _simpler(getattr(value, one.name)):
                yield replace(cast(Any, value), **{one.name: other})
    elif isinstance(value, float) and value != round(value):
        yield float(round(value))
