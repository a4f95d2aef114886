"""Draws scenarios: at random for the campaign, or for a search of false proofs.

It also draws a scenario for each case of `Alike`, which no station can distinguish from an honest run. Times are
multiples of a tenth of a second, so that a shrunk scenario is easy to read.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from random import Random
from typing import Protocol, TypeVar

from netcheck.rig.scenario import Act, Cable, Device, Do, HandMove, Mode, On, Replies, Scenario, Stop, Stranger
from netcheck.rig.truth import Alike

T = TypeVar("T")
CHANGES = (1, 2, 2, 3, 3, 4, 5)  # number of changes in a run; each element is equally likely


class Choices(Protocol):
    """The source of choices. The first option of `pick` and the low end of `seconds` are the simplest values."""

    def pick(self, options: Sequence[T]) -> T:
        """Return one of the options."""

    def seconds(self, low: float, high: float) -> float:
        """Return a multiple of 0.1 from low to high."""

    def maybe(self, share: float) -> bool:
        """Return True for about this share of calls; False is the simpler value."""


class RandomChoices:
    """Choices by a random generator."""

    def __init__(self, random: Random) -> None:
        """Use this generator."""
        self.random = random

    def pick(self, options: Sequence[T]) -> T:
        """Return one of the options, with equal probability."""
        return options[int(self.random.random() * len(options))]

    def seconds(self, low: float, high: float) -> float:
        """Return a multiple of 0.1 from low to high, with equal probability."""
        return self.random.randint(round(low * 10), round(high * 10)) / 10

    def maybe(self, share: float) -> bool:
        """Return True with this probability."""
        return self.random.random() < share


def scenario(
    choices: Choices, mode: Mode, seed: int, changes: Sequence[int] = CHANGES, named: bool | None = None
) -> Scenario:
    """Draw one run of a mode: a sound plant and a careful technician, with some random changes.

    The number of changes is one of `changes`. `named` says whether the plan names MACs; None draws that too.
    """
    move = HandMove(enter=1.2 if mode.keyed else None)
    one = Scenario(
        mode=mode,
        seed=seed,
        devices=(Device(), Device()),
        named=choices.pick((True, False)) if named is None else named,
        pulls=(move,),
        plugs=(move,),
        stops=(Stop(number=1), Stop(device=1, wait=5.0, number=1)) if mode is Mode.WALK else (),
    )
    twists = TWISTS + (WALK_TWISTS if mode is Mode.WALK else DIRECT_TWISTS if mode.direct else ())
    for _ in range(choices.pick(changes)):
        one = choices.pick(twists)(choices, one)
    return one


BY_ITSELF = (
    Do.RESTART, Do.RESTART, Do.BLINK, Do.SLIP, Do.LINK, Do.VANISH, Do.STATION_OUT, Do.SUSPEND, Do.MUTE, Do.OVERRUN,
    Do.ENTER, Do.NUMBER,
)  # fmt: skip
Twist = Callable[[Choices, Scenario], Scenario]


def _act(choices: Choices, one: Scenario) -> Scenario:
    on = choices.pick((On.PULL, On.PLUG, On.START))
    act = Act(
        do=choices.pick(BY_ITSELF),
        on=on,
        nth=choices.pick((1, 1, 2, 3)),
        after=choices.seconds(0, 90 if on is On.START else 30),
        lasts=_lasts(choices),
        who=choices.pick((0, 0, 1)),
    )  # fmt: skip
    return replace(one, acts=(*one.acts, act))


def _restarts(choices: Choices, one: Scenario) -> Scenario:
    """Let a device restart several times: outages come in clusters."""
    at, gap, lasts = choices.seconds(20, 90), choices.seconds(5, 60), choices.seconds(3, 40)
    again = choices.pick((2, 3, 4))
    acts = (Act(do=Do.RESTART, after=round(at + turn * (lasts + gap), 1), lasts=lasts) for turn in range(again))
    return replace(one, acts=(*one.acts, *acts))


def _lasts(choices: Choices) -> float:
    """Draw a duration: seconds, tens of seconds, or minutes."""
    match choices.pick((0, 1, 1, 2)):
        case 0:
            return choices.seconds(0.1, 5)
        case 1:
            return choices.seconds(1, 40)
        case _:
            return choices.seconds(1, 180)


def _device(choices: Choices, one: Scenario) -> Scenario:
    """Give a device an unusual property."""
    index = choices.pick((0, 0, 1))
    if index >= len(one.devices):
        return one
    device = one.devices[index]
    match choices.pick(range(7)):
        case 0:
            device = replace(device, boots=_lasts(choices))
        case 1:
            device = replace(device, replies=choices.pick((Replies.NO_ECHO, Replies.TO_ALL)))
        case 2:
            device = replace(device, checks_itself=True)
        case 3:
            device = replace(device, slow=choices.seconds(0.1, 1.0))
        case 4:
            device = replace(device, loss=choices.pick((0.1, 0.2)))
        case 5:
            device = replace(device, ports=2)
        case _:
            device = replace(device, behind=index > 0)
    return replace(one, devices=(*one.devices[:index], device, *one.devices[index + 1 :]))


def _more(choices: Choices, one: Scenario) -> Scenario:
    """Add or remove devices, and request more ports."""
    many = choices.pick((1, 3))
    return replace(one, devices=(one.devices * 2)[:many], asked=choices.pick((1, 2, 3)))


def _plant(choices: Choices, one: Scenario) -> Scenario:
    """Give the plant an unusual property."""
    match choices.pick(range(9)):
        case 0:
            return replace(one, swapped=True, named=False)
        case 1:
            return replace(one, swapped=True)
        case 2:
            return replace(one, heals=choices.seconds(0.5, 60))
        case 3:
            return replace(one, blocks=choices.seconds(2, 30))
        case 4:
            return replace(one, two_interfaces=one.mode.direct)
        case 5:
            return replace(one, gateway=True)
        case 6:
            return replace(one, borrowed=True)
        case 7:
            return replace(one, behind_planned=True)
        case _:
            return replace(one, earlier=True)


def _lldp(choices: Choices, one: Scenario) -> Scenario:
    """Let the device or a switch announce ports by LLDP."""
    if choices.pick((True, False)):
        return replace(one, device_lldp=True)
    return replace(one, switch_lldp=choices.pick(("port 1", "port 2")))


def _stranger(choices: Choices, one: Scenario) -> Scenario:
    """Add an unplanned host with a planned address: always, with the cable out, or for a while."""
    stranger = Stranger(
        of=choices.pick((0, 0, 1)),
        replies=choices.pick((Replies.ALL, Replies.NO_ECHO, Replies.PROBES, Replies.EVERY_SECOND, Replies.ECHO)),
        twin=choices.maybe(0.05),
        beyond=one.two_interfaces and choices.pick((True, False)),
        announces=choices.maybe(0.2),
    )
    match choices.pick((0, 1, 2, 2, 2)):
        case 0:
            stranger = replace(stranger, always=True)
        case 1:
            stranger = replace(stranger, while_out=True)
        case _:
            on = choices.pick((On.START, On.PULL, On.PLUG))
            act = Act(do=Do.STRANGER, on=on, nth=choices.pick((1, 1, 2)), after=choices.seconds(0, 60),
                      lasts=_lasts(choices), who=len(one.strangers))  # fmt: skip
            one = replace(one, acts=(*one.acts, act))
    return replace(one, strangers=(*one.strangers, stranger))


def _pull(choices: Choices, one: Scenario) -> Scenario:
    """Change the technician's reaction to a request to pull."""
    cables = (Cable.OWN, Cable.OTHER, Cable.NONE, Cable.UPSTREAM, Cable.STATION, Cable.LAST)
    move = _move(choices, choices.pick(cables), one.mode)
    return replace(one, pulls=choices.pick(((move,), (*one.pulls, move), (move, *one.pulls))))


def _plug(choices: Choices, one: Scenario) -> Scenario:
    """Change the technician's reaction to a request to put the cable back."""
    move = _move(choices, choices.pick((Cable.OWN, Cable.OWN, Cable.NONE)), one.mode)
    return replace(one, plugs=choices.pick(((move,), (*one.plugs, move), (move, *one.plugs))))


def _move(choices: Choices, cable: Cable, mode: Mode) -> HandMove:
    after, short = choices.seconds(0.1, 12), choices.pick((False, True))
    enter: float | None = None
    if mode.keyed:
        enter = choices.pick((round(after + 0.2, 1), choices.seconds(0.1, 20), None))
    lasts = choices.seconds(0.1, 3) if short and choices.pick((True, False)) else choices.seconds(0.1, 25) * short
    return HandMove(
        cable=cable,
        after=after,
        lasts=lasts,
        again=choices.seconds(0.1, 30) if short and choices.pick((False, True)) else 0.0,
        enter=enter,
    )


def _pretends(choices: Choices, one: Scenario) -> Scenario:
    """Test the second port of a device, and let the technician confirm without moving the cable."""
    devices = (replace(one.devices[0], ports=2), *one.devices[1:])
    moves, reseats = choices.pick(((False, False), (True, False), (False, True)))
    return replace(one, devices=devices, asked=2, moves_connector=moves, reseats_connector=reseats)


def _stops(choices: Choices, one: Scenario) -> Scenario:
    """Change which cables are pulled on a walk, and when."""
    stops = (
        Stop(
            device=choices.pick((0, 0, 1, 2)),
            wait=choices.seconds(3, 60),
            lasts=choices.seconds(1, 40) if choices.pick((True, False)) else 0.0,
            number=choices.pick((0, 0, 1, 2)),
        )
        for _ in range(choices.pick((1, 2, 3, 4, 5)))
    )
    return replace(one, stops=tuple(stops))


def _through_switch(choices: Choices, one: Scenario) -> Scenario:
    """Lead the direct cable through a switch."""
    return replace(one, through_switch=True)


TWISTS: tuple[Twist, ...] = (
    _act, _act, _act, _restarts, _device, _device, _more, _plant, _plant, _lldp, _stranger, _stranger, _pull, _pull,
    _plug, _plug, _pretends,
)  # fmt: skip
WALK_TWISTS: tuple[Twist, ...] = (_stops, _stops, _stops, _restarts)
DIRECT_TWISTS: tuple[Twist, ...] = (_through_switch, _through_switch, _lldp)


KEY = HandMove(enter=1.2)
LEFT = HandMove(cable=Cable.NONE)


def lookalike(choices: Choices, alike: Alike, seed: int) -> Scenario:
    """Draw a run in which this case occurs and nothing else is wrong."""
    keyed = choices.pick((True, False))
    mode, move = (Mode.KEYED, KEY) if keyed else (Mode.HANDS_FREE, HandMove())
    named = choices.pick((True, False))
    while_it_lasts = choices.seconds(15, 30)
    match alike:
        case Alike.ANOTHER_CABLE:
            pull = HandMove(cable=Cable.UPSTREAM, enter=move.enter)
            return Scenario(mode=mode, seed=seed, named=named, pulls=(pull,), plugs=(move,))
        case Alike.BY_ITSELF:
            after = choices.seconds(0.5, 6)
            acts = tuple(Act(do=Do.RESTART, on=On.PULL, nth=n, after=after, lasts=while_it_lasts) for n in (1, 2))
            return Scenario(mode=mode, seed=seed, named=named, pulls=(LEFT,), plugs=(move,), acts=acts)
        case Alike.FALSE_KEY:
            restart = Act(do=Do.RESTART, on=On.PULL, after=choices.seconds(12, 16), lasts=while_it_lasts)
            said = HandMove(cable=Cable.NONE, enter=17.0)
            return Scenario(seed=seed, named=named, pulls=(said,), plugs=(KEY,), acts=(restart,))
        case Alike.NOT_MOVED:
            devices = (Device(ports=2), Device())
            pulls = (KEY, HandMove(cable=Cable.LAST, enter=1.2))
            return Scenario(
                seed=seed, named=named, devices=devices, asked=2, moves_connector=False,
                reseats_connector=choices.pick((True, False)), pulls=pulls, plugs=(KEY,),
            )  # fmt: skip
        case Alike.PUT_BACK_EARLY:
            devices = (Device(boots=while_it_lasts), Device())
            pull = HandMove(lasts=choices.seconds(1, 3), enter=move.enter)
            return Scenario(mode=mode, seed=seed, named=named, devices=devices, pulls=(pull,), plugs=(move,))
        case Alike.LOST_CONTACT:
            lossy = (Device(loss=0.65), Device())
            pull = HandMove(lasts=choices.seconds(10, 14), again=choices.seconds(1.6, 2.2), enter=1.2)
            return Scenario(seed=seed, named=named, devices=lossy, pulls=(pull,), plugs=(KEY,))
        case Alike.CHAIN:
            chained = (Device(), Device(behind=True), Device())
            return Scenario(
                mode=mode, seed=seed, named=False, devices=chained, swapped=True, behind_planned=True, pulls=(move,),
                plugs=(move,),
            )  # fmt: skip
        case Alike.HEALS_LATE:
            heals = choices.seconds(8, 25)
            return Scenario(mode=Mode.HANDS_FREE, seed=seed, named=named, heals=heals, plugs=(HandMove(), LEFT))
        case Alike.LAST_MOMENT:
            plug = HandMove(lasts=choices.seconds(1.5, 3.5), enter=move.enter)
            return Scenario(
                mode=mode, seed=seed, named=named, pulls=(move,), plugs=(move, plug) if not keyed else (plug,)
            )
        case Alike.QUIET_SWITCH:
            direct = Mode.DIRECT if keyed else Mode.DIRECT_HANDS_FREE
            pull = HandMove(cable=Cable.STATION, enter=move.enter)
            return Scenario(mode=direct, seed=seed, named=named, through_switch=True, pulls=(pull,), plugs=(move,))
        case _:
            stranger, acts = _second_owner(choices, alike)
            return Scenario(
                mode=mode, seed=seed, named=named, asked=2 if alike is Alike.ELSEWHEN else 1, pulls=(move,),
                plugs=(move,), strangers=(stranger,), acts=acts,
            )  # fmt: skip


def _second_owner(choices: Choices, alike: Alike) -> tuple[Stranger, tuple[Act, ...]]:
    """Return the second owner of a case, and the acts that say when it is present."""
    match alike:
        case Alike.TWIN:
            return Stranger(always=True, twin=True), ()
        case Alike.MUTE:
            return Stranger(always=True, replies=Replies.ECHO), ()
        case Alike.FAINT:
            return Stranger(always=True, loss=choices.seconds(0.5, 0.8)), ()
        case Alike.PROBES:
            return Stranger(replies=Replies.PROBES), (Act(do=Do.STRANGER, lasts=choices.seconds(2.5, 4)),)
        case Alike.ELSEWHEN:
            at, lasts = choices.seconds(1, 5), choices.seconds(3, 9)
            return Stranger(of=1), (Act(do=Do.STRANGER, after=at, lasts=lasts),)
        case _:
            at, lasts = choices.seconds(0, 20), choices.seconds(0.3, 2.4)
            return Stranger(), (Act(do=Do.STRANGER, after=at, lasts=lasts),)
