"""Carries out rehearsals on the simulated bench, with a person or a script, and the truth campaign."""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from pathlib import Path
from shutil import get_terminal_size

from netcheck.app.keyboard import KeySource, keyboard
from netcheck.app.prepare import run_input
from netcheck.app.progress import Steps
from netcheck.app.prove import Order, conduct, finish
from netcheck.errors import Problem, UsageError
from netcheck.plan.model import Plan
from netcheck.proof.events import Action, Event, Key, Press, RunOptions
from netcheck.proof.targets import Scope
from netcheck.report.text.campaign import WIDE, to_json, to_text
from netcheck.rig.campaign.run import summed, trials
from netcheck.rig.devices import Faults
from netcheck.rig.network import Jack, Rig
from netcheck.rig.plant import Trouble, hanging, plant
from netcheck.rig.technicians import Technician, carry_out
from netcheck.text import listed
from netcheck.wire.link import News

KINDS = ["absent", "impostor", "lossy", "no-echo", "swapped"]
LOSSY = 0.2  # share of frames lost in each direction
TOO_FAST = "a scripted technician is faster than speech, so nothing is spoken. Rehearse with keys, on a terminal"
CONFIRMED_AFTER = 0.2  # seconds between the cable and the Enter that confirms it


def run_campaign(sites: int, seed: int, processes: int, as_json: bool) -> int:
    """Run the truth campaign, print its result, and return 0 if no proof was false, else 1."""
    with Steps(sites) as steps:
        steps.begin("Proving random sites")
        found = trials(sites, seed, processes or os.cpu_count() or 1, lambda count: steps.end())
    summary = summed(seed, found)
    width = get_terminal_size((WIDE, 24)).columns
    print(json.dumps(to_json(summary), indent=2) if as_json else to_text(summary, width=width))
    return 1 if summary.false_proofs else 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Training:
    """The rehearsal that the command line describes."""

    plan: Path
    only: tuple[str, ...]
    again: bool
    faults: tuple[str, ...]
    hands_free: bool
    seed: int
    as_json: bool
    record: Path | None
    quiet: bool
    say: bool


class RealTimeRig(Rig):
    """The rig at wall-clock speed, for a person who reads the screen and presses keys."""

    def receive(self, until: float) -> list[News]:
        """Receive frames, and wait as long as the bench's time advances."""
        before = self.now()
        heard = super().receive(until)
        time.sleep(self.now() - before)
        return heard


@dataclass(eq=False)
class Trainee:
    """The person at the keyboard: Enter moves the requested cables and confirms the movement."""

    rig: Rig
    jacks: dict[str, Jack]
    behind: Mapping[str, tuple[Jack, ...]]
    keys: KeySource
    ended: bool = False
    _asked: Event | None = None
    _requests: int = 0
    _confirmed: list[Press] = field(default_factory=list)

    def pressed(self) -> list[Press]:
        """Return the keys since the last call. Enter moves the cable, and is returned after the cable has moved."""
        pressed: list[Press] = list(self._confirmed)
        self._confirmed.clear()
        for key in self.keys.pressed():
            if key is Key.ENTER and self._asked is not None:
                done = carry_out(self.rig, self._asked, self.jacks, self.behind, after=0.0) or 0.0
                self._asked = None
                self.rig.after(done + CONFIRMED_AFTER, partial(self._confirm, self._requests))
            else:
                pressed.append(key)
        self.ended = self.keys.ended
        return pressed

    def _confirm(self, request: int) -> None:
        """Confirm the request, unless the run already has another request."""
        if request == self._requests:
            self._confirmed.append(Key.ENTER)
            self.rig.stir()

    def told(self, event: Event) -> None:
        """Note the cables that the screen asks for."""
        if event.action is not None and (event.port in self.jacks or event.action is Action.RESTORE):
            self._requests += 1
            self._asked = event


def train(training: Training) -> int:
    """Prove a plan on the rig and return the exit code of a proving run."""
    base = run_input(training.plan, training.only)
    trouble = trouble_from(training.faults, base.aim)
    person = not training.hands_free and sys.stdin.isatty() and sys.stderr.isatty()
    rig, jacks = plant(base.aim, trouble, training.seed, RealTimeRig if person else Rig)
    order = Order(
        plan=training.plan,
        interface="rig0",
        only=training.only,
        again=training.again,
        settings=RunOptions(hands_free=training.hands_free, revisits=person),
        permit="rehearsal",
        link="rig",
        record=training.record or _record_path(base.plan),
        capture=None,
        as_json=training.as_json,
        quiet=training.quiet,
        say=training.say and person,
    )
    if training.say and not person:
        print(f"--say: {TOO_FAST}", file=sys.stderr)
    with ExitStack() as stack:
        behind = hanging(base.aim, jacks)
        keys: KeySource = Technician(rig, jacks, confirms=not training.hands_free, behind=behind)
        if person:
            keys = Trainee(rig, jacks, behind, stack.enter_context(keyboard(True)))
        outcome = conduct(order, base, order.permit, rig, keys)
    return finish(order, outcome)


def _record_path(plan: Plan) -> Path:
    """Return a new file name, so that no rehearsal continues another one or looks like a run on site."""
    return Path(f"{plan.slug}-rehearsal-{datetime.now().astimezone():%Y-%m-%d-%H%M%S}.jsonl")


def trouble_from(words: Sequence[str], aim: Scope) -> Trouble:
    """Return the faults of the bench; raise UsageError for an unknown fault or interface."""
    known = {target.interface for target in aim.targets}
    said: dict[str, list[str]] = {kind: [] for kind in KINDS}
    for word in words:
        kind, _, subject = word.partition("=")
        subjects = subject.split(",")
        if kind not in KINDS or (len(subjects), len(set(subjects))) != ((2, 2) if kind == "swapped" else (1, 1)):
            kinds = listed(KINDS, joint="or")
            do = f"Write KIND=DEVICE/INTERFACE; KIND is one of {kinds}; swapped needs two, with a comma"
            raise UsageError(Problem(f"--fault {word}: not a fault", do=do))
        if unknown := [one for one in subjects if one not in known]:
            do = f"Use one of {listed(sorted(known), joint='or')}"
            raise UsageError(Problem(f"--fault {word}: the plan has no interface {listed(unknown)}", do=do))
        said[kind].append(subject)
    return Trouble(
        faults={one: Faults(echo=False) for one in said["no-echo"]},
        lossy=dict.fromkeys(said["lossy"], LOSSY),
        impostors=tuple(said["impostor"]),
        swapped=tuple((a, b) for a, b in (pair.split(",") for pair in said["swapped"])),
        absent=tuple(said["absent"]),
    )
