"""Measures the seconds that a healthy port takes on real kernels: `python tests/bench/ports.py [--beside CHECKOUT]`.

Needs root. A technician obeys each request within 0.7 s. The time runs from the first answer of a port to its verdict;
on a walk, from the first pull. All modes run in parallel, since they mostly wait, and with `--beside` also those of
another checkout of this project, so that both see the same machine.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.bench.results import publish
from tests.lab.commands import Command, Result
from tests.lab.netns import Lab, why_not
from tests.lab.plant import Plant
from tests.lab.walks import says

OURS = Path(__file__).parents[2]
NAMES = ("alpha", "beta", "gamma")


@dataclass(frozen=True)
class Mode:
    """One way to prove a port. `limit` are the seconds that a port may take, `seconds` measures those of one run."""

    name: str
    limit: float
    seconds: Callable[[Plant], list[float]]
    direct: bool = False


def prove(words: tuple[str, ...], keys: bool, plant: Plant) -> list[float]:
    """Prove all ports, and return the seconds of each from its first answer to its verdict."""
    ended = plant.start(*words, keys=keys).end()
    assert set(ended.verdicts.values()) == {"proven"}, ended.text
    names = [device.name for device in plant.devices]
    return [_when(ended, "verdict", name) - _when(ended, "heard", name) for name in names]


def walk(plant: Plant) -> list[float]:
    """Walk along all ports, and return the seconds of each from its first pull to its verdict."""
    command = plant.start(command="walk")
    pulled = {device.name: _pull_first(plant, command, device.name) for device in plant.devices}
    ended = command.end()
    assert set(ended.verdicts.values()) == {"proven"}, ended.text
    return [_when(ended, "verdict", name) - at for name, at in pulled.items()]


def _pull_first(plant: Plant, command: Command, name: str) -> float:
    """Pull a cable as soon as its address is known, wait for the verdict, and return when it was pulled."""
    assert command.wait_for(partial(says, "known", name), 60)
    at = time.time()
    plant.pull(next(device for device in plant.devices if device.name == name))
    assert command.wait_for(partial(says, "verdict", name), 200)
    return at


def _when(ended: Result, word: str, name: str) -> float:
    return next(line.at for line in ended.lines if says(word, name, line.text))


MODES = (
    Mode("prove, keyed", 16.5, partial(prove, (), True)),
    Mode("prove, direct cable", 14, partial(prove, ("--direct",), False), direct=True),
    Mode("prove, hands-free through a switch", 27, partial(prove, (), False)),
    Mode("walk", 90, walk),
)


def measured(mode: Mode, source: Path) -> list[float]:
    """Run one mode with the code of a checkout; a direct cable has one port, and is run once a name."""
    runs = [(name,) for name in NAMES] if mode.direct else [NAMES]
    return [seconds for names in runs for seconds in _run(mode, source, names)]


def _run(mode: Mode, source: Path, names: tuple[str, ...]) -> list[float]:
    with Lab("ncb") as lab, tempfile.TemporaryDirectory() as folder:
        plant = Plant(lab, Path(folder), direct=mode.direct, environment={"PYTHONPATH": str(source)})
        for number, name in enumerate(names):
            plant.device(name, 20 + number, direct=mode.direct)
        return mode.seconds(plant)


def main() -> None:
    """Print the table; exit 1 where a port takes longer than its limit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--beside", type=Path, help="another checkout, to be measured in the same run")
    beside: Path | None = parser.parse_known_args()[0].beside
    if reason := why_not():
        sys.exit(f"this benchmark needs a laboratory: {reason}")
    sources = [OURS, *([beside.resolve()] if beside else [])]
    with ThreadPoolExecutor(len(MODES) * len(sources)) as pool:
        jobs = {(mode.name, at): pool.submit(measured, mode, at) for mode in MODES for at in sources}
        took = {key: median(job.result()) for key, job in jobs.items()}
    rows = [
        (
            mode.name,
            f"{took[mode.name, OURS]:.1f} s",
            f"{took[mode.name, sources[1]]:.1f} s" if beside else "",
            f"{mode.limit:g} s",
        )
        for mode in MODES
    ]
    publish("Seconds a healthy port", ["what", "ours", "beside", "limit"], rows)
    sys.exit(any(took[mode.name, OURS] > mode.limit for mode in MODES))


if __name__ == "__main__":
    main()
