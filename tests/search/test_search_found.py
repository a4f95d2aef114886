"""Tests of false proofs that the search found, each simplified, and of situations that were seen on real kernels.

All of them were proven before two rules existed: a pull must answer a request, and the state at the verdict is checked.
"""

from __future__ import annotations

import pytest

from netcheck.rig.scenario import Act, Cable, Device, Do, HandMove, Mode, On, Replies, Scenario, Stop, Stranger
from tests.search.adversary import false_proofs

LEFT = HandMove(cable=Cable.NONE)
CASES = {
    # The state at the verdict: the plug slips out again, or the device fails after its return.
    "slips out at once, with keys": Scenario(plugs=(HandMove(lasts=0.3, enter=1.2),)),
    "slips out at once, hands-free": Scenario(mode=Mode.HANDS_FREE, plugs=(HandMove(lasts=0.2),)),
    "slips out after a second": Scenario(mode=Mode.HANDS_FREE, plugs=(HandMove(lasts=1.0),)),
    "restarts after its return, with keys":
        Scenario(pulls=(HandMove(enter=1.0),), plugs=(HandMove(enter=1.2),),
                 acts=(Act(do=Do.RESTART, after=22.0, lasts=38.0),)),
    "restarts after its return, hands-free":
        Scenario(mode=Mode.HANDS_FREE, acts=(Act(do=Do.RESTART, after=29.0, lasts=27.0),)),
    "restarts after its return, direct":
        Scenario(mode=Mode.DIRECT_HANDS_FREE, acts=(Act(do=Do.RESTART, on=On.PULL, after=7.0, lasts=5.0),)),
    # A second path that heals, and a cable that is never put back.
    "ring heals after 20 s": Scenario(heals=20.0, pulls=(HandMove(enter=1.2),), plugs=(LEFT,)),
    "ring heals after 15 s": Scenario(heals=15.0, pulls=(HandMove(after=4.0, enter=4.0),), plugs=(LEFT,)),
    # Clustered restarts while nobody moves a cable.
    "two restarts on a walk":
        Scenario(mode=Mode.WALK, pulls=(LEFT,), acts=(Act(do=Do.RESTART, after=40.0, lasts=12.0),
                                                      Act(do=Do.RESTART, after=67.0, lasts=12.0))),
    "a boot loop on a walk":
        Scenario(mode=Mode.WALK, pulls=(LEFT,),
                 acts=tuple(Act(do=Do.RESTART, after=30.0 + 45.0 * n, lasts=20.0) for n in range(4))),
    "two restarts on a walk in order":
        Scenario(mode=Mode.IN_ORDER, pulls=(LEFT,), acts=(Act(do=Do.RESTART, after=20.0, lasts=11.0),
                                                         Act(do=Do.RESTART, after=51.0, lasts=11.0))),
    "a restart long after the request":
        Scenario(mode=Mode.HANDS_FREE, pulls=(LEFT,), acts=(Act(do=Do.RESTART, on=On.PULL, after=25.0, lasts=29.0),)),
    # Nothing connects the address with the connector.
    "exchanged addresses on a walk, no MACs":
        Scenario(mode=Mode.WALK, pulls=(LEFT,), named=False, swapped=True, stops=(
            Stop(wait=30.0, lasts=14.0), Stop(wait=8.0, lasts=14.0), Stop(device=1, wait=20.0, lasts=14.0),
            Stop(device=1, wait=8.0, lasts=14.0))),
    "a direct cable through a switch that announces its port":
        Scenario(mode=Mode.DIRECT_HANDS_FREE, through_switch=True, switch_lldp="port 1", devices=(Device(),),
                 pulls=(HandMove(cable=Cable.STATION),)),
    # The link and the computer.
    "the link is away for 3.3 s":
        Scenario(mode=Mode.DIRECT_HANDS_FREE, pulls=(LEFT,), acts=(Act(do=Do.LINK, on=On.PULL, after=2.0, lasts=3.3),)),
    "the computer is suspended":
        Scenario(mode=Mode.DIRECT_HANDS_FREE, pulls=(LEFT,), acts=(
            Act(do=Do.LINK, on=On.PULL, after=1.9, lasts=8.5), Act(do=Do.SUSPEND, on=On.PULL, after=2.0, lasts=5.0))),
    # Second owners.
    "an owner without a sender, with keys":
        Scenario(strangers=(Stranger(replies=Replies.PROBES, always=True),), pulls=(HandMove(enter=1.2),),
                 plugs=(HandMove(enter=1.2),)),
    "an owner without a sender, hands-free":
        Scenario(mode=Mode.HANDS_FREE, strangers=(Stranger(replies=Replies.PROBES),), acts=(Act(do=Do.STRANGER),)),
    "an owner without a sender, on a walk":
        Scenario(mode=Mode.WALK, strangers=(Stranger(replies=Replies.PROBES, always=True),), stops=(Stop(),)),
    "one that appears after the first silence of a walk":
        Scenario(mode=Mode.WALK, strangers=(Stranger(replies=Replies.PROBES),), stops=(Stop(),),
                 acts=(Act(do=Do.STRANGER, after=41.0),)),
    "an owner heard while another port was under test":
        Scenario(mode=Mode.HANDS_FREE, asked=2, strangers=(Stranger(of=1, announces=True),),
                 acts=(Act(do=Do.STRANGER, after=5.0, lasts=4.0),)),
    # A sound proof, after which the same port is chosen again and fails: each attempt is judged by its own time.
    "proven, then chosen again":
        Scenario(mode=Mode.DIRECT_HANDS_FREE, devices=(Device(ports=2),), asked=2,
                 acts=(Act(do=Do.NUMBER, on=On.PLUG, after=6.0),)),
    # The cable was put back into its connector, and a key said that it was moved to the next one, which got another
    # cable later.
    "put back, and another cable later":
        Scenario(seed=751737916, devices=(Device(ports=2), Device(checks_itself=True)), asked=2, named=False,
                 blocks=30.0, moves_connector=False, reseats_connector=True,
                 pulls=(HandMove(cable=Cable.LAST, after=2.8, lasts=0.7),), plugs=(HandMove(enter=1.2),)),
    "put back, and another cable that slips out":
        Scenario(seed=631472355, devices=(Device(ports=2), Device(), Device()), asked=2, moves_connector=False,
                 reseats_connector=True, pulls=(HandMove(enter=1.2),),
                 plugs=(HandMove(enter=1.2), HandMove(after=9.9, lasts=12.2, again=26.1, enter=10.1)),
                 acts=(Act(do=Do.RESTART, after=85.3, lasts=27.7), Act(do=Do.ENTER, on=On.PLUG, after=4.6, lasts=5.0))),
    # The computer's link fails by itself after the request, and the cable is out before it is up again.
    "a link that failed before the cable was pulled":
        Scenario(mode=Mode.DIRECT_HANDS_FREE, pulls=(HandMove(after=8.2),),
                 acts=(Act(do=Do.LINK, on=On.PULL, after=16.0, lasts=5.0),)),
}  # fmt: skip


@pytest.mark.parametrize("one", CASES.values(), ids=CASES.keys())
def test_is_no_longer_proven(one: Scenario) -> None:
    """No port of the scenario is proven without an excuse."""
    assert [found.to_test() for found in false_proofs(one)] == []
