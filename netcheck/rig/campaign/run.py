"""Runs a campaign and sums it up: the verdict of each port is compared with the truth.

Four sites in five have one port under test (`sites`). The fifth is a whole run, drawn by `random_scenarios`: a walk,
several ports in a row, second connectors, LLDP, a suspend of the computer, and other events without a hand.
"""

from __future__ import annotations

import gc
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from multiprocessing import Pool
from random import Random
from signal import SIG_IGN, SIGINT, signal

from netcheck.proof.driver import drive
from netcheck.proof.prober import Prober
from netcheck.proof.result import Verdict
from netcheck.proof.verdict.names import Names
from netcheck.rig.bench import Bench
from netcheck.rig.campaign.expected import HEALTHY
from netcheck.rig.campaign.sites import DrawnSite, site_of
from netcheck.rig.random_scenarios import RandomChoices, lookalike, scenario
from netcheck.rig.scenario import Mode, Scenario, to_source
from netcheck.rig.truth import Alike, Truth, Unmet

POLL = 60.0  # seconds between reads of the keys: a scripted key press ends the wait itself
NOBODY = Names(lambda mac: "", lambda mac: None)
UNDECIDED = (Verdict.UNSETTLED, Verdict.NOT_TESTED)
CHUNK = 25  # sites that a process gets at a time
SITES_A_SEED = 1 << 32  # distance of the seeds of two campaigns, so that they share no site
A_RUN_IN = 5  # every fifth site is a drawn scenario
LOOKALIKES = 0.25  # share of these runs that are a case of `Alike`
CHANGES = (0, 0, 1, 1, 2, 2, 3)  # number of changes in such a run; each element is equally likely


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One port and its verdict.

    - `seed`: builds its site again.
    - `label`: its class.
    - `deserved`: a proof is deserved.
    - `unmet`: the conditions of a proof that fail and that no case of `Alike` excuses.
    - `alike`: the cases of `Alike` that apply.
    - `right`: the right verdicts, None if they are not known.
    - `story`: what was drawn, as text.
    - `seconds`: the length of the run in virtual time.
    """

    seed: int
    label: str
    verdict: Verdict
    deserved: bool
    unmet: tuple[Unmet, ...]
    alike: tuple[Alike, ...]
    right: frozenset[Verdict] | None
    story: tuple[str, ...]
    why: str
    seconds: float

    @property
    def apart(self) -> bool:
        """Whether no proof is deserved and no station can find that out."""
        return not self.deserved and not self.unmet

    @property
    def false_proof(self) -> bool:
        """Whether the port is proven and deserves no proof."""
        return self.verdict is Verdict.PROVEN and not self.deserved

    @property
    def false_alarm(self) -> bool:
        """Whether the verdict accuses a port that deserves a proof."""
        accuses = self.verdict is not Verdict.PROVEN and self.verdict not in UNDECIDED
        return self.deserved and accuses and self.right is not None and not self.named

    @property
    def undecided(self) -> bool:
        """Whether a proof was deserved and the verdict is `unsettled` or `not-tested`."""
        return self.deserved and self.verdict in UNDECIDED and self.right is not None and not self.named

    @property
    def faulty(self) -> bool:
        """Whether the site or the work has a fault that a verdict other than `proven` should name."""
        return self.right is not None and Verdict.PROVEN not in self.right

    @property
    def named(self) -> bool:
        """Whether the verdict is a right one."""
        return self.right is not None and self.verdict in self.right


def prove(site: DrawnSite, seed: int) -> Prober:
    """Prove a site in virtual time."""
    prober = Prober(site.scope, site.rig.adapters, NOBODY, site.options, Random(seed), poll=POLL)
    drive(prober, site.rig, site.hand)
    return prober


def trial(seed: int) -> Trial:
    """Build the site of a seed, prove its port, and compare the verdict with the truth."""
    site = site_of(seed)
    proof = prove(site, seed).proofs[0]
    truth = Truth(site.rig, site.hand.log, entered=site.hand.entered).of(site.place, proof)
    alike = tuple(one for one in Alike if one in truth.alike)
    drawn = site.drawn
    return Trial(
        seed=seed,
        label=str(alike[0]) if truth.apart else drawn.label(site.hand.habit),
        verdict=proof.verdict,
        deserved=truth.deserved,
        unmet=truth.inexcusable,
        alike=alike,
        right=drawn.right(site.hand, site.rig.time),
        story=site.story,
        why=proof.why,
        seconds=site.rig.time - site.rig.began,
    )


def scenario_of(seed: int) -> Scenario:
    """Draw the scenario of a seed: a random one, or in one of four a case of `Alike`."""
    random = Random(seed)
    if random.random() < LOOKALIKES:
        return lookalike(RandomChoices(random), random.choice(tuple(Alike)), seed)
    return scenario(RandomChoices(random), random.choice(tuple(Mode)), seed, CHANGES)


def run_trials(seed: int) -> list[Trial]:
    """Run the scenario of a seed; return one trial for each of its ports."""
    one = scenario_of(seed)
    bench = Bench(one)
    proofs = bench.run()
    truth = bench.truth()
    sound = one == plain(one)
    found = []
    for proof in proofs:
        judged = truth.of(bench.places[proof.subject], proof)
        alike = tuple(alike for alike in Alike if alike in judged.alike)
        label = f"{one.mode}: {'sound' if sound and judged.deserved else 'something changed'}"
        found.append(
            Trial(
                seed=seed,
                label=str(alike[0]) if judged.apart else label,
                verdict=proof.verdict,
                deserved=judged.deserved,
                unmet=judged.inexcusable,
                alike=alike,
                right=frozenset({Verdict.PROVEN}) if sound and judged.deserved and one.named else None,
                story=(to_source(one), proof.subject),
                why=proof.why,
                seconds=bench.rig.time - bench.rig.began,
            )
        )
    return found


def plain(one: Scenario) -> Scenario:
    """Return the same run without changes."""
    return scenario(RandomChoices(Random(0)), one.mode, one.seed, (0,), named=one.named)


def site_trials(seed: int) -> list[Trial]:
    """Return the trials of one site of a campaign."""
    return run_trials(seed) if seed % A_RUN_IN == A_RUN_IN - 1 else [trial(seed)]


def trials(sites: int, seed: int, processes: int, done: Callable[[int], None] = lambda count: None) -> list[Trial]:
    """Run this many sites of a campaign on this many processes; `done` is called with the number of finished sites.

    The same seed gives the same list for any number of processes.
    """
    seeds = range(seed * SITES_A_SEED, seed * SITES_A_SEED + sites)
    if processes <= 1 or sites < 2 * CHUNK:
        return _gathered(map(site_trials, seeds), done)
    with Pool(processes, initializer=_work_quietly) as pool:
        return _gathered(pool.imap(site_trials, seeds, chunksize=CHUNK), done)


def _gathered(many: Iterator[list[Trial]], done: Callable[[int], None]) -> list[Trial]:
    found: list[Trial] = []
    for number, some in enumerate(many, 1):
        found += some
        done(number)
    return found


def _work_quietly() -> None:
    """Leave Ctrl-C to the parent process, and collect garbage less often than by default."""
    signal(SIGINT, SIG_IGN)
    gc.set_threshold(50_000, 50, 50)


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassRow:
    """The counts of a class of sites. A run with several ports counts by its first port, or by a falsely proven one.

    `counts` are (verdict, sites) in the order of the judge's table. `graded` is the number of sites whose right
    verdicts are known, and `named` the number with a right verdict.
    """

    label: str
    apart: bool
    sites: int
    counts: tuple[tuple[Verdict, int], ...]
    graded: int
    named: int
    false_proofs: int
    false_alarms: int
    undecided: int


@dataclass(frozen=True, slots=True)
class Share:
    """A count among a total."""

    seen: int
    of: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """The counts of a campaign.

    - `apart`: proven ports among those that deserve no proof and that no station can distinguish from sound ones. They
      count in no other share but `alike`.
    - `alike`: for each case of `Alike`, the ports that were proven.
    - `healthy`: proven ports among the sound ones with at most 20 % loss each way.
    - `faulty`: ports with a right verdict among those with a fault.
    """

    sites: int
    ports: int
    seed: int
    rows: tuple[ClassRow, ...]
    undeserved: Share  # false proofs among ports that deserve no proof
    alarms: Share  # false alarms among ports that deserve a proof
    undecided: Share
    healthy: Share
    faulty: Share
    apart: Share
    alike: tuple[tuple[Alike, Share], ...]
    false_proofs: tuple[Trial, ...]


def summed(seed: int, found: Sequence[Trial]) -> Summary:
    """Sum up the trials of a campaign."""
    apart = [one for one in found if one.apart]
    others = [one for one in found if not one.apart]
    deserved = [one for one in others if one.deserved and one.right is not None]
    undeserved = [one for one in others if not one.deserved]
    healthy = [one for one in others if _is_healthy(one)]
    faulty = [one for one in others if one.faulty]
    wrong = tuple(one for one in undeserved if one.false_proof)
    return Summary(
        sites=len({one.seed for one in found}),
        ports=len(found),
        seed=seed,
        rows=tuple(_rows(found)),
        undeserved=Share(len(wrong), len(undeserved)),
        alarms=Share(sum(one.false_alarm for one in deserved), len(deserved)),
        undecided=Share(sum(one.undecided for one in deserved), len(deserved)),
        healthy=Share(sum(one.verdict is Verdict.PROVEN for one in healthy), len(healthy)),
        faulty=Share(sum(one.named for one in faulty), len(faulty)),
        apart=Share(sum(one.false_proof for one in apart), len(apart)),
        alike=tuple((one, _proven([trial for trial in found if one in trial.alike])) for one in Alike),
        false_proofs=wrong,
    )


def _is_healthy(one: Trial) -> bool:
    """Return whether the port is sound and well handled: of one site, or of a run without changes."""
    return one.label in HEALTHY or (one.label.endswith(": sound") and one.right is not None)


def _proven(some: Sequence[Trial]) -> Share:
    return Share(sum(one.verdict is Verdict.PROVEN for one in some), len(some))


def _rows(found: Sequence[Trial]) -> Iterator[ClassRow]:
    """Yield one row for each class: sound ones first, those apart last."""
    classes: dict[tuple[bool, bool, str], list[Trial]] = {}
    by_site: dict[int, Trial] = {}
    for one in found:
        wrong = one.false_proof and not one.apart
        by_site[one.seed] = one if wrong else by_site.get(one.seed, one)
    for one in by_site.values():
        classes.setdefault((one.apart, "sound" not in one.label, one.label), []).append(one)
    for key in sorted(classes):
        group = classes[key]
        counts = Counter(one.verdict for one in group)
        yield ClassRow(
            label=group[0].label,
            apart=group[0].apart,
            sites=len(group),
            counts=tuple((verdict, counts[verdict]) for verdict in Verdict if counts[verdict]),
            graded=sum(one.right is not None for one in group),
            named=sum(one.named for one in group),
            false_proofs=sum(one.false_proof for one in group),
            false_alarms=sum(one.false_alarm for one in group),
            undecided=sum(one.undecided for one in group),
        )
