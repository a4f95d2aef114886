"""Tests of the command `walk` on the rig: lines, record and exit code, and a walk that is stopped and resumed."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from pathlib import Path

import pytest

from netcheck.app.prepare import run_input
from netcheck.app.prove import Order, RunOutcome, conduct, finish
from netcheck.proof.events import Action, Event, Key, Press, RunOptions
from netcheck.proof.walk.walk import Walk
from netcheck.record.verify import verify
from netcheck.rig.network import Jack, Rig
from netcheck.rig.plant import Trouble, plant

PLAN = """format = 1
[site]
name = "Example"
[[subnet]]
name = "process"
prefix = "192.0.2.0/24"
gateway = "192.0.2.254"
[[station]]
name = "laptop"
address = "192.0.2.240/24"
"""
DEVICE = """[[device]]
name = "{0}"
[[device.interface]]
name = "lan"
subnet = "process"
address = "192.0.2.{1}"
mac = "00-00-5E-00-53-{1}"
"""


@dataclass(eq=False)
class Hands:
    """A technician who pulls cables at set times, obeys each request, and presses q at the end."""

    rig: Rig
    cables: dict[str, Jack]
    ended: bool = False
    keys: list[Press] = field(default_factory=list)

    def pressed(self) -> Iterable[Press]:
        keys, self.keys = self.keys, []
        return keys

    def told(self, event: Event) -> None:
        """Move the requested cable two seconds later."""
        jack = self.cables.get(event.port)
        if jack is not None and event.action in (Action.PULL, Action.PLUG):
            self.rig.after(2.0, partial(self.rig.plug, jack, event.action is Action.PLUG))

    def pull(self, jack: Jack, *moments: float) -> None:
        for at in moments:
            self.rig.after(at, partial(self.rig.plug, jack, False))

    def quit(self, at: float) -> None:
        self.rig.after(at, self._quit)

    def _quit(self) -> None:
        self.keys.append(Key.QUIT)
        self.rig.stir()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with a plan of three devices."""
    (tmp_path / "plan.toml").write_text(PLAN + "".join(DEVICE.format(f"d{n}", n) for n in (20, 21, 22)), "utf-8")
    return tmp_path


def walk(
    folder: Path, pulls: dict[str, tuple[float, ...]], ends: float, *, as_json: bool = False
) -> tuple[Order, RunOutcome]:
    """Walk over the plan while the cables of these ports are pulled, until q is pressed."""
    base = run_input(folder, ())
    rig, cables = plant(base.aim, Trouble(), seed=5)
    hands = Hands(rig, cables)
    for port, moments in pulls.items():
        hands.pull(cables[port], *moments)
    hands.quit(ends)
    order = Order(
        plan=folder,
        interface="rig0",
        only=(),
        settings=RunOptions(),
        permit="test",
        by="A. Technician, Example Controls",
        link="rig",
        record=folder / "run.jsonl",
        capture=None,
        as_json=as_json,
        quiet=True,
    )
    return order, conduct(order, base, "test", rig, hands, Walk)


def recorded(folder: Path) -> list[dict[str, object]]:
    """Return the lines of the record."""
    return [json.loads(line) for line in (folder / "run.jsonl").read_text("utf-8").splitlines()]


def test_a_walk_with_all_ports_proven_ends_with_exit_0(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """All ports are pulled twice and proven, each event has a line, and the record verifies with its seal."""
    pulls: dict[str, tuple[float, ...]] = {f"d{n}/lan:1": (40.0 + 60 * k,) for k, n in enumerate((21, 20, 22))}
    order, outcome = walk(folder, pulls, 500)
    assert finish(order, outcome) == 0
    shown = capsys.readouterr().out
    assert "seen     d21/lan:1: d21/lan:1 seen. Wait for the second request" in shown
    assert "\nSIMULATED: 3 proven\n" in shown
    assert outcome.seal in shown
    start = recorded(folder)[0]
    assert (start["simulated"], start["by"]) == (True, "A. Technician, Example Controls")
    assert datetime.fromisoformat(str(start["local"])).utcoffset() is not None
    assert recorded(folder)[-1]["hash"] == outcome.seal
    found = verify(folder / "run.jsonl")
    assert (found.proofs, found.ended, found.flaw, found.seal) == (3, True, None, outcome.seal)


def test_a_stopped_walk_records_its_verdicts(folder: Path) -> None:
    """If the walk is stopped by q, the verdicts of the pulled ports are in the record."""
    order, outcome = walk(folder, {"d20/lan:1": (40.0,), "d22/lan:1": (90.0,)}, 99)
    assert finish(order, outcome) == 1
    verdicts = {f"{p.interface}:{p.port}": str(p.verdict) for p in outcome.proofs}
    assert verdicts == {"d20/lan:1": "proven", "d21/lan:1": "not-tested", "d22/lan:1": "unsettled"}
    proofs = [line["proof"] for line in recorded(folder) if line["type"] == "proof"]
    assert [(p["interface"], p["verdict"]) for p in proofs] == [("d20/lan", "proven"), ("d22/lan", "unsettled")]  # type: ignore[index]


def test_a_resumed_walk_asks_for_the_remaining_ports(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The continued walk keeps the proven ports and asks for the others."""
    walk(folder, {"d20/lan:1": (40.0,)}, 110)
    capsys.readouterr()
    order, outcome = walk(folder, {"d21/lan:1": (40.0,), "d22/lan:1": (100.0,)}, 500, as_json=True)
    assert finish(order, outcome) == 0
    shape = json.loads(capsys.readouterr().out)  # the events went to standard error
    assert [(p["interface"], p["verdict"]) for p in shape["proofs"]] == [(f"d{n}/lan", "proven") for n in (20, 21, 22)]
    assert shape["summary"]["proven"] == 3
    proofs = [line["proof"]["interface"] for line in recorded(folder) if line["type"] == "proof"]  # type: ignore[index]
    assert sorted(proofs) == ["d20/lan", "d21/lan", "d22/lan"]
