"""The truth campaign: sites drawn at random are proven in virtual time, and each verdict is held to the truth."""

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
from netcheck.rig.campaign.right import HEALTHY
from netcheck.rig.campaign.sites import Site, site_of

POLL = 60.0  # seconds: nobody types at a rig, and a scripted hand stirs it
NOBODY = Names(lambda mac: "", lambda mac: None)
UNDECIDED = (Verdict.UNSETTLED, Verdict.NOT_TESTED)
CHUNK = 25  # sites that a process takes at a time
SITES_A_SEED = 1 << 32  # so that no two campaigns share a site


@dataclass(frozen=True, slots=True)
class Trial:
    """One site and what came of it. `seed` builds it again; `label` is its scenario class; `right` are the verdicts
    that name what is true; `seconds` are virtual."""

    seed: int
    label: str
    verdict: Verdict
    deserved: bool
    apart: bool
    right: frozenset[Verdict]
    story: tuple[str, ...]
    why: str
    seconds: float

    @property
    def false_proof(self) -> bool:
        """The one thing that must never happen."""
        return self.verdict is Verdict.PROVEN and not self.deserved

    @property
    def false_alarm(self) -> bool:
        """A proof was deserved, nothing was wrong, and something is said to be."""
        accuses = self.verdict is not Verdict.PROVEN and self.verdict not in UNDECIDED
        return self.deserved and accuses and self.verdict not in self.right

    @property
    def undecided(self) -> bool:
        """A proof was deserved, and the evidence was not called sufficient."""
        return self.deserved and self.verdict in UNDECIDED and self.verdict not in self.right

    @property
    def faulty(self) -> bool:
        """Something is wrong with site or work, and a verdict other than `proven` would say it."""
        return Verdict.PROVEN not in self.right

    @property
    def named(self) -> bool:
        """The verdict is a right one."""
        return self.verdict in self.right


def prove(site: Site, seed: int) -> Prober:
    """Prove a site in virtual time."""
    prober = Prober(site.aim, site.rig.ways, NOBODY, site.settings, Random(seed), poll=POLL)
    drive(prober, site.rig, site.hand)
    return prober


def trial(seed: int) -> Trial:
    """Build the site of a seed, prove it, and hold the verdict to the truth."""
    site = site_of(seed)
    began = site.rig.time
    proof = prove(site, seed).proofs[0]
    ended, truth = site.rig.time, site.truth
    return Trial(
        seed, truth.label(site.hand, ended), proof.verdict, truth.deserved(site.hand, ended),
        truth.apart(site.hand, ended), truth.right(site.hand, ended), site.story, proof.why, ended - began,
    )  # fmt: skip


def trials(sites: int, seed: int, processes: int, done: Callable[[int], None] = lambda count: None) -> list[Trial]:
    """Try so many sites of a campaign, on so many processes; `done` hears how many there are so far. The same seed
    gives the same list, however many processes there are."""
    seeds = range(seed * SITES_A_SEED, seed * SITES_A_SEED + sites)
    if processes <= 1 or sites < 2 * CHUNK:
        return [_counted(trial(one), number, done) for number, one in enumerate(seeds, 1)]
    with Pool(processes, initializer=_work_quietly) as pool:
        found = pool.imap(trial, seeds, chunksize=CHUNK)
        return [_counted(one, number, done) for number, one in enumerate(found, 1)]


def _counted(one: Trial, number: int, done: Callable[[int], None]) -> Trial:
    done(number)
    return one


def _work_quietly() -> None:
    """A worker leaves Ctrl-C to the one who started it, and looks for dead objects less often than is usual."""
    signal(SIGINT, SIG_IGN)
    gc.set_threshold(50_000, 50, 50)


@dataclass(frozen=True, slots=True)
class Row:
    """A scenario class in numbers. `counts` holds (verdict, sites) in the judge's order."""

    label: str
    apart: bool
    sites: int
    counts: tuple[tuple[Verdict, int], ...]
    named: int
    false_proofs: int
    false_alarms: int
    undecided: int


@dataclass(frozen=True, slots=True)
class Share:
    """So many of so many."""

    seen: int
    of: int


@dataclass(frozen=True, slots=True)
class Summary:
    """A campaign in numbers. `apart` are sites that no station could tell from honest ones; they count in nothing else.
    `healthy` are sound ports with at most 20 % loss each way that were proven; `faulty` those rightly named."""

    sites: int
    seed: int
    rows: tuple[Row, ...]
    undeserved: Share  # false proofs among ports whose truth is not proven
    alarms: Share  # false alarms among ports that deserved a proof
    undecided: Share
    healthy: Share
    faulty: Share
    apart: Share
    false_proofs: tuple[Trial, ...]


def summed(seed: int, found: Sequence[Trial]) -> Summary:
    """Sum trials up."""
    apart = [one for one in found if one.apart]
    others = [one for one in found if not one.apart]
    deserved = [one for one in others if one.deserved]
    undeserved = [one for one in others if not one.deserved]
    healthy = [one for one in others if one.label in HEALTHY]
    faulty = [one for one in others if one.faulty]
    wrong = tuple(one for one in undeserved if one.false_proof)
    return Summary(
        sites=len(found),
        seed=seed,
        rows=tuple(_rows(found)),
        undeserved=Share(len(wrong), len(undeserved)),
        alarms=Share(sum(one.false_alarm for one in deserved), len(deserved)),
        undecided=Share(sum(one.undecided for one in deserved), len(deserved)),
        healthy=Share(sum(one.verdict is Verdict.PROVEN for one in healthy), len(healthy)),
        faulty=Share(sum(one.named for one in faulty), len(faulty)),
        apart=Share(sum(one.false_proof for one in apart), len(apart)),
        false_proofs=wrong,
    )


def _rows(found: Sequence[Trial]) -> Iterator[Row]:
    """One row a class: those that were sound and rightly handled first, those apart last."""
    classes: dict[str, list[Trial]] = {}
    for one in found:
        classes.setdefault(one.label, []).append(one)
    for label in sorted(classes, key=lambda label: (classes[label][0].apart, not label.startswith("sound"), label)):
        group = classes[label]
        counts = Counter(one.verdict for one in group)
        yield Row(
            label,
            group[0].apart,
            len(group),
            tuple((verdict, counts[verdict]) for verdict in Verdict if counts[verdict]),
            sum(one.named for one in group),
            sum(one.false_proof for one in group),
            sum(one.false_alarm for one in group),
            sum(one.undecided for one in group),
        )
