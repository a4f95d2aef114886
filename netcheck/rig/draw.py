"""Scenarios drawn from choices: at random for the campaign, and by a search that looks for false proofs.

Times are multiples of a tenth of a second, so that a shrunk scenario is easy to read.
"""

from __future__ import annotations

from collections.abc import Sequence
from random import Random
from typing import Protocol, TypeVar

from netcheck.rig.scenario import Act, Cable, Device, Do, Mode, Move, On, Replies, Scenario, Stop, Stranger

T = TypeVar("T")


class Choices(Protocol):
    """Where choices come from. The first option of `pick`, and the low end of `seconds`, are the simplest."""

    def pick(self, options: Sequence[T]) -> T:
        """Return one of the options."""

    def seconds(self, low: float, high: float) -> float:
        """Return a multiple of 0.1 between two times."""

    def maybe(self, share: float) -> bool:
        """Return True for about this share of calls; False is the simpler answer."""


class RandomChoices:
    """Choices by a random generator."""

    def __init__(self, random: Random) -> None:
        """Draw from this generator."""
        self.random = random

    def pick(self, options: Sequence[T]) -> T:
        """Return one of the options, each as likely."""
        return options[int(self.random.random() * len(options))]

    def seconds(self, low: float, high: float) -> float:
        """Return a time, each multiple of 0.1 as likely."""
        return self.random.randint(round(low * 10), round(high * 10)) / 10

    def maybe(self, share: float) -> bool:
        """Return True with this probability."""
        return self.random.random() < share


def scenario(choices: Choices, mode: Mode, seed: int) -> Scenario:
    """Draw everything about one run of a mode."""
    devices = _devices(choices, mode)
    strangers = tuple(_stranger(choices, len(devices)) for _ in range(choices.pick((0, 0, 1, 1, 2))))
    keyed = mode.keyed
    return Scenario(
        mode=mode,
        seed=seed,
        devices=devices,
        asked=choices.pick((1, 1, 2)),
        named=not choices.maybe(0.4),
        borrowed=choices.maybe(0.2),
        gateway=choices.maybe(0.3),
        swapped=choices.maybe(0.12),
        heals=choices.seconds(0.5, 60) if choices.maybe(0.15) else None,
        blocks=choices.seconds(2, 30) if choices.maybe(0.12) else 0.0,
        through_switch=mode.direct and choices.maybe(0.25),
        device_lldp=choices.maybe(0.2),
        switch_lldp=choices.pick(("", "", "", "port 1", "port 2")),
        two_interfaces=choices.maybe(0.2),
        behind_planned=choices.maybe(0.5),
        moves_connector=not choices.maybe(0.3),
        strangers=strangers,
        pulls=tuple(_move(choices, keyed, pull=True) for _ in range(choices.pick((1, 1, 2)))),
        plugs=tuple(_move(choices, keyed, pull=False) for _ in range(choices.pick((1, 1, 2)))),
        stops=tuple(_stop(choices) for _ in range(choices.pick((2, 1, 3, 4)))) if mode is Mode.WALK else (),
        acts=tuple(_act(choices) for _ in range(choices.pick((0, 1, 1, 2, 3)))),
        earlier=choices.maybe(0.05),
    )


def _devices(choices: Choices, mode: Mode) -> tuple[Device, ...]:
    first = _device(choices, choices.pick((1, 1, 1, 2)), behind=False)
    others = range(choices.pick((1, 1, 2)))
    return (first, *(_device(choices, 1, behind=choices.maybe(0.15)) for _ in others))


def _device(choices: Choices, ports: int, *, behind: bool) -> Device:
    odd = choices.maybe(0.35)
    return Device(
        boots=choices.pick((0.0, choices.seconds(1, 20), choices.seconds(1, 180))) if odd else 0.0,
        replies=choices.pick((Replies.ALL, Replies.ALL, Replies.NO_ECHO, Replies.TO_ALL)) if odd else Replies.ALL,
        checks_itself=odd and choices.maybe(0.2),
        slow=choices.seconds(0.1, 1.0) if odd and choices.maybe(0.2) else 0.0,
        loss=choices.pick((0.0, 0.1, 0.2)) if odd else 0.0,
        ports=ports,
        behind=behind,
    )


def _stranger(choices: Choices, devices: int) -> Stranger:
    return Stranger(
        of=choices.pick(range(devices)),
        replies=choices.pick((Replies.ALL, Replies.NO_ECHO, Replies.PROBES, Replies.EVERY_SECOND, Replies.ECHO)),
        always=choices.maybe(0.25),
        while_out=choices.maybe(0.15),
        twin=choices.maybe(0.05),
        beyond=choices.maybe(0.2),
        announces=choices.maybe(0.2),
    )


def _move(choices: Choices, keyed: bool, *, pull: bool) -> Move:
    plain = not choices.maybe(0.5)
    cables = (Cable.OWN, Cable.OWN, Cable.OTHER, Cable.NONE, Cable.UPSTREAM, Cable.STATION, Cable.LAST)
    after = 1.0 if plain else choices.seconds(0.1, 8)
    short = not plain and choices.maybe(0.3)
    return Move(
        cable=Cable.OWN if plain else choices.pick(cables if pull else (Cable.OWN, Cable.OWN, Cable.NONE)),
        after=after,
        lasts=choices.pick((choices.seconds(0.1, 3), choices.seconds(0.1, 25))) if short else 0.0,
        again=choices.seconds(0.1, 30) if short and choices.maybe(0.5) else 0.0,
        enter=_enter(choices, after, plain) if keyed else None,
    )


def _enter(choices: Choices, after: float, plain: bool) -> float | None:
    """Return when Enter is pressed: mostly just after the movement, sometimes before it, or not at all."""
    if plain or choices.maybe(0.6):
        return round(after + 0.2, 1)
    return choices.seconds(0.1, 12) if choices.maybe(0.7) else None


def _stop(choices: Choices) -> Stop:
    return Stop(
        device=choices.pick((0, 0, 1, 2)),
        wait=choices.seconds(15, 45),
        lasts=choices.seconds(1, 30) if choices.maybe(0.6) else 0.0,
    )


def _act(choices: Choices) -> Act:
    do = choices.pick(tuple(Do))
    on = choices.pick((On.PULL, On.PLUG, On.START))
    return Act(
        do=do,
        on=on,
        nth=choices.pick((1, 1, 2, 3)),
        after=choices.seconds(0, 60 if on is On.START else 30),
        lasts=choices.pick((choices.seconds(0.1, 5), choices.seconds(1, 40), choices.seconds(1, 180))),
        who=choices.pick((0, 0, 1)),
    )
