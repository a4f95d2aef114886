"""A scenario for each case that no station could tell from an honest run, so that the campaign can measure it."""

from __future__ import annotations

from netcheck.rig.draw import Choices
from netcheck.rig.scenario import Act, Cable, Device, Do, HandMove, Mode, On, Replies, Scenario, Stranger
from netcheck.rig.truth import Alike

KEY = HandMove(enter=1.2)
LEFT = HandMove(cable=Cable.NONE)


def lookalike(choices: Choices, alike: Alike, seed: int) -> Scenario:
    """Draw a run in which this case occurs, and nothing else is wrong."""
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
        case Alike.FALSE_WORD:
            restart = Act(do=Do.RESTART, on=On.PULL, after=choices.seconds(12, 16), lasts=while_it_lasts)
            said = HandMove(cable=Cable.NONE, enter=17.0)
            return Scenario(seed=seed, named=named, pulls=(said,), plugs=(KEY,), acts=(restart,))
        case Alike.NOT_MOVED:
            devices = (Device(ports=2), Device())
            pulls = (KEY, HandMove(cable=Cable.LAST, enter=1.2))
            return Scenario(
                seed=seed, named=named, devices=devices, asked=2, moves_connector=False, pulls=pulls, plugs=(KEY,)
            )
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
            stranger, acts = _stranger(choices, alike)
            return Scenario(
                mode=mode, seed=seed, named=named, asked=2 if alike is Alike.ELSEWHEN else 1, pulls=(move,),
                plugs=(move,), strangers=(stranger,), acts=acts,
            )  # fmt: skip


def _stranger(choices: Choices, alike: Alike) -> tuple[Stranger, tuple[Act, ...]]:
    """Return the second owner of a case, and when it is there."""
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
