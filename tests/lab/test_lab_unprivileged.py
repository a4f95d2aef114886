"""Tests of `netcheck prove --link unprivileged` on real kernels, run by a user without rights.

Its best verdict is `unsettled`. test_lab_prove checks that the portable link has the same verdicts as the raw link.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pytest

from tests.lab.commands import Result, as_a_user
from tests.lab.netns import Lab
from tests.lab.parallel import Job
from tests.lab.plant import Plant
from tests.lab.plants import usual

pytestmark = [pytest.mark.lab, pytest.mark.timeout(600)]
EVERYBODY: dict[str, int | str] = {"net.ipv4.ping_group_range": "0 2147483647"}
PORT = "alpha/cpu:1"
DEAF = "cannot hear a second owner"


@dataclass(frozen=True)
class Unprivileged:
    """A plant and a run without rights.

    `verdicts` has several if the kernel's neighbour table decides which of two owners answers. `says` are words of the
    sentence.
    """

    name: str
    build: Callable[[Plant], None]
    verdicts: tuple[str, ...]
    says: str = ""
    words: tuple[str, ...] = ()
    direct: bool = False


def prove(case: Unprivileged, lab: Lab, folder: Path) -> Result:
    """Prove as a user who can use only the kernel's echo sockets, in a folder that the user may write to."""
    with tempfile.TemporaryDirectory() as open_to_all:
        Path(open_to_all).chmod(0o777)
        plant = Plant(lab, Path(open_to_all), direct=case.direct)
        plant.lab.sysctl(plant.station, EVERYBODY)
        case.build(plant)
        common = ("--link", "unprivileged", "--only", "alpha/cpu")
        return plant.start(*common, *case.words, wrapper=as_a_user()).end()


WAITS = ("--patience", "12")
HUMBLE = (
    Unprivileged("unprivileged: healthy", usual.healthy, ("unsettled",), DEAF),
    Unprivileged("unprivileged: absent", usual.absent, ("silent",), "192.0.2.20", WAITS),
    Unprivileged("unprivileged: two owners", usual.two_owners, ("unsettled", "wrong-hardware", "contested")),
    Unprivileged(
        "unprivileged: impostor", usual.owner_with_the_cable_out, ("unsettled", "impostor", "contested"), "", WAITS
    ),
    Unprivileged("unprivileged: direct", usual.healthy_direct, ("unsettled",), DEAF, ("--direct",), direct=True),
)


@pytest.mark.parametrize(
    ("job", "case"), [pytest.param(Job(one.name, partial(prove, one), 45), one, id=one.name) for one in HUMBLE]
)
def test_without_rights_nothing_is_proven(job: Job, case: Unprivileged, outcome: Result) -> None:
    """No verdict is better than `unsettled`, and the sentence says what the link cannot hear."""
    proof = outcome.proofs[PORT]
    print(f"{case.name:40} {outcome.ended - outcome.began:6.1f} s  {proof['verdict']}: {proof['why']}")
    assert proof["verdict"] in case.verdicts
    assert case.says in proof["why"]
    assert outcome.code == 1
