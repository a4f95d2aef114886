"""`netcheck prove --link unprivileged` on real kernels, run by a user without rights: what it can say, and cannot.

The portable link is held to the same verdicts as the raw one in test_lab_prove.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pytest

from tests.lab import plants
from tests.lab.hall import Hall
from tests.lab.netns import Lab
from tests.lab.running import Ended, as_a_user
from tests.lab.side_by_side import Play

pytestmark = [pytest.mark.lab, pytest.mark.timeout(600)]
EVERYBODY: dict[str, int | str] = {"net.ipv4.ping_group_range": "0 2147483647"}
PORT = "alpha/cpu:1"
DEAF = "cannot hear a second owner"


@dataclass(frozen=True)
class Humble:
    """A plant that is proven without rights: verdicts that it may get, several where it is the kernel's neighbour table
    that decides which of two owners answers; `says` are words of the sentence."""

    name: str
    build: Callable[[Hall], None]
    verdicts: tuple[str, ...]
    says: str = ""
    words: tuple[str, ...] = ()
    direct: bool = False


def prove(humble: Humble, lab: Lab, folder: Path) -> Ended:
    """Prove as a user who has nothing but the kernel's echo sockets; its folder lies where it may write."""
    with tempfile.TemporaryDirectory() as open_to_all:
        Path(open_to_all).chmod(0o777)
        hall = Hall(lab, Path(open_to_all), direct=humble.direct)
        hall.lab.sysctl(hall.station, EVERYBODY)
        humble.build(hall)
        common = ("--link", "unprivileged", "--only", "alpha/cpu")
        return hall.start(*common, *humble.words, wrapper=as_a_user()).end()


WAITS = ("--patience", "12")
HUMBLE = (
    Humble("unprivileged: healthy", plants.healthy, ("unsettled",), DEAF),
    Humble("unprivileged: absent", plants.absent, ("silent",), "192.0.2.20", WAITS),
    Humble("unprivileged: two owners", plants.two_owners, ("unsettled", "wrong-hardware", "contested")),
    Humble(
        "unprivileged: impostor", plants.owner_with_the_cable_out, ("unsettled", "impostor", "contested"), "", WAITS
    ),
    Humble("unprivileged: direct", plants.healthy_direct, ("unsettled",), DEAF, ("--direct",), direct=True),
)


@pytest.mark.parametrize(
    ("play", "humble"), [pytest.param(Play(one.name, partial(prove, one), 45), one, id=one.name) for one in HUMBLE]
)
def test_without_rights_nothing_is_proven(play: Play, humble: Humble, outcome: Ended) -> None:
    """No verdict is better than `unsettled`, and the sentence says what this link cannot see."""
    proof = outcome.proofs[PORT]
    print(f"{humble.name:40} {outcome.ended - outcome.began:6.1f} s  {proof['verdict']}: {proof['why']}")
    assert proof["verdict"] in humble.verdicts
    assert humble.says in proof["why"]
    assert outcome.code == 1
