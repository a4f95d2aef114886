"""A walk on the rig: cables pulled at set times, and the result of each port."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from random import Random

from netcheck.proof.driver import drive
from netcheck.proof.events import Event, RunOptions, What
from netcheck.proof.prober import Prober
from netcheck.proof.result import Proof
from netcheck.proof.verdict.names import Names
from netcheck.proof.walk.walk import Walk
from netcheck.rig.network import Jack
from tests.rig.scenes import Ran, Scene

NOBODY = Names(lambda mac: "", lambda mac: None)
POLL = 60.0  # seconds: no key is pressed unless a test does it, which wakes the rig
OUT = 14.0  # seconds that a cable stays out: long enough for any healthy device
SETTLED = 30.0  # seconds after which every healthy device of a small plant is known


def row_of(many: int, lasts: float = 300.0, **about: object) -> Scene:
    """Return *many* healthy devices on a switch: d20/lan at 192.0.2.20, and so on."""
    scene = Scene(options=RunOptions(lasts=lasts), **about)  # type: ignore[arg-type]
    for last in range(20, 20 + many):
        scene.add(f"d{last}/lan", last)
    return scene


def pull(scene: Scene, cable: str | Jack, *moments: float, out: float = OUT) -> None:
    """Pull a cable at each of these times, for *out* seconds."""
    jack = scene.jacks[cable] if isinstance(cable, str) else cable
    for at in moments:
        scene.rig.after(at, partial(scene.rig.plug, jack, False))
        scene.rig.after(at + out, partial(scene.rig.plug, jack, True))


def pull_first(scene: Scene, cable: str, *moments: float) -> None:
    """Pull a cable at each of these times.

    Afterwards the technician follows every request, including the second pull.
    """
    scene.obeys = True
    for at in moments:
        scene.rig.after(at, partial(scene.rig.plug, scene.jacks[cable], False))


def walk(scene: Scene, seed: int = 1, began: Callable[[Prober], None] | None = None) -> Ran:
    """Walk to the end in virtual time, over all ports unless the scene selects some; call `began` with the prober."""
    scene.only = scene.only or tuple(target.subject for target in scene.targets)
    if not scene.obeys:
        scene.hand.jacks = {}  # cables move when the test moves them, not on request
    walker = Prober(
        scene.scope(), scene.rig.adapters, NOBODY, scene.options, Random(seed), hears_all=scene.hears_all, poll=POLL,
        procedure=Walk,
    )  # fmt: skip
    if began is not None:
        began(walker)
    since = scene.rig.now()
    drive(walker, scene.rig, scene.hand)
    return Ran(walker, scene.rig, scene.hand.log, scene.rig.now() - since)


def proofs(ran: Ran) -> dict[str, Proof]:
    """Return the proofs by port."""
    assert len({proof.subject for proof in ran.prober.proofs}) == len(ran.prober.proofs), "a port has two proofs"
    return {proof.subject: proof for proof in ran.prober.proofs}


def verdicts(ran: Ran) -> dict[str, str]:
    """Return the verdicts by port."""
    return {subject: str(proof.verdict) for subject, proof in proofs(ran).items()}


def said(ran: Ran, what: What, port: str = "") -> list[str]:
    """Return the texts of the events of a kind, of one port or of all."""
    return [event.text for event in events(ran, what) if port in ("", event.port)]


def events(ran: Ran, what: What) -> list[Event]:
    """Return the events of a kind."""
    return [event for event in ran.log if event.what is what]
