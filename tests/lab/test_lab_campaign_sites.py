"""Checks the rig against the kernel: sites of the truth campaign get the same verdict in virtual time and on kernels.

The figures of the campaign (`netcheck rehearse --campaign`) are only as good as the rig.
"""

from __future__ import annotations

from functools import partial

import pytest

from netcheck.rig.campaign.run import trial
from netcheck.rig.campaign.sites import site_of
from tests.lab.campaign_sites import prove
from tests.lab.commands import Result
from tests.lab.parallel import Job

pytestmark = [pytest.mark.lab, pytest.mark.timeout(600)]
# The first site of each kind of `--campaign N --seed 1` without loss and delay, with its description.
SITES = {
    4294967327: "one switch, nothing, pulls the right cable, sound",
    4294967318: "direct, nothing, pulls the right cable, sound",
    4294967571: "one switch, nothing, pulls the right cable, echo blocked",
    4294967415: "one switch, nothing, pulls the right cable, checks its address (RFC 5227)",
    4294967440: "one switch, nothing, pulls the right cable, answers late",
    4294967755: "one switch, nothing, pulls the right cable, echo that fits no probe",
    4294968713: "one switch, second owner, always, pulls the right cable, sound",
    4294967297: "one switch, second owner, cable out, pulls the right cable, sound",
    4294967478: "one switch, proxy ARP, pulls the right cable, sound",
    4294967603: "one switch, swapped addresses, pulls the right cable, sound",
    4294967699: "one switch, wrong nameplate, pulls the right cable, sound",
    4294967595: "one switch, stale address, pulls the right cable, sound",
    4294967696: "one switch, weak host, pulls the right cable, sound",
    4294967924: "one switch, echo from another MAC, pulls the right cable, sound",
    4294968417: "daisy chain, chain that the plan does not know, pulls the right cable, sound",
    4294967588: "one switch, nothing, pulls none, sound",
    4294968227: "one switch, nothing, pulls another cable, and leaves it, sound",
    4294969208: "one switch, nothing, pulls another cable, then the right one, sound",
    4294968093: "one switch, nothing, pulls the station's own, always, sound",
    4294984095: "one switch, nothing, pulls the right cable, and keeps it out, sound",
}
LASTS = 40.0


def acted(seed: int, story: str) -> Job:
    """Return a site as a job."""
    return Job(f"drawn: {story}", partial(prove, seed), LASTS)


@pytest.mark.parametrize(
    ("job", "seed"), [pytest.param(acted(seed, story), seed, id=story) for seed, story in SITES.items()]
)
def test_same_verdict_on_the_rig_and_on_real_kernels(job: Job, seed: int, outcome: Result) -> None:
    """The verdict on the kernel is that of the rig, and it is correct for the truth of the site."""
    site, on_the_rig = site_of(seed), trial(seed)
    assert ", ".join(site.story) == SITES[seed]
    print(f"{SITES[seed]:80} {outcome.ended - outcome.began:6.1f} s  {on_the_rig.verdict}")
    assert outcome.verdicts["alpha/cpu:1"] == on_the_rig.verdict, outcome.text
    assert on_the_rig.named
