"""How often a proof is false: the truth campaign and the search, by `python tests/bench/campaign.py [SITES] [--write]`.

The campaign runs SITES sites (20,000 without a number) on two processes; then the search for false proofs runs on two
processes for five minutes (`--search SECONDS`). With `--old FOLDER`, another checkout runs a tenth of the sites with
its own campaign before and after, and the ratio of the speeds is printed.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from collections import Counter
from multiprocessing import Pool
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from netcheck.report.text.campaign import to_text
from netcheck.rig.campaign.confidence import upper
from netcheck.rig.campaign.run import Summary, summed, trials
from netcheck.rig.scenario import Mode
from tests.bench.results import publish
from tests.search.adversary import Search, search

SITES, SEED, SEARCH_SECONDS = 20_000, 1, 300.0
OLD = (
    "import sys, time; sys.path.insert(0, sys.argv[1]); from netcheck.rig.campaign import trials;"
    "began = time.monotonic(); trials(int(sys.argv[2]), 1, 2); print(int(sys.argv[2]) / (time.monotonic() - began))"
)


def old_speed(folder: str, sites: int) -> float | None:
    """Return the sites a second of the other checkout, None where none is named."""
    if not folder:
        return None
    words = [sys.executable, "-c", OLD, folder, str(sites)]
    return float(subprocess.run(words, capture_output=True, text=True, check=True, cwd=folder).stdout)


def campaign(sites: int, old: str) -> Summary:
    """Run the campaign, and publish its table with the speed."""
    before = old_speed(old, sites // 10)
    began = time.monotonic()
    summary = summed(SEED, trials(sites, SEED, 2))
    speed = sites / (time.monotonic() - began)
    speeds = [one for one in (before, old_speed(old, sites // 10)) if one is not None]
    notes = [f"{speed:.0f} sites a second on two processes."]
    if speeds:
        ratio = speed / (sum(speeds) / len(speeds))
        notes.append(f"{ratio:.2f} times as many as the other checkout in the same minutes ({_listed(speeds)}).")
    rows = [
        (
            row.label,
            row.sites,
            ", ".join(f"{count} {verdict}" for verdict, count in sorted(row.counts, key=lambda pair: -pair[1])),
            f"{100 * row.named / row.graded:.1f} %" if row.graded and not row.apart else "",
        )
        for row in summary.rows
    ]
    totals = to_text(summary).rpartition("\n\nfalse proofs")[2]
    notes += [f"- {line}" for line in ("false proofs" + totals).splitlines() if line.strip()]
    command = f"netcheck rehearse --campaign {sites} --seed {SEED}"
    publish(f"Truth campaign: {command}", ("class of site", "sites", "verdicts", "right"), rows, *notes)
    cases = [(str(alike), share.of, share.seen, _most(share.seen, share.of)) for alike, share in summary.alike]
    publish("Truth campaign: indistinguishable cases", ("case", "ports", "proven", "at most (95 %)"), cases)
    return summary


def _listed(speeds: list[float]) -> str:
    return ", ".join(f"{speed:.0f}" for speed in speeds) + " a second"


def _most(seen: int, of: int) -> str:
    return f"{100 * upper(seen, of):.0f} %" if of else "-"


def _searched(job: tuple[float, int]) -> Search:
    seconds, first = job
    return search(seconds, first)


def searching(seconds: float) -> list[Search]:
    """Search on two processes, and publish what was tried and found."""
    with Pool(2) as pool:
        done = pool.map(_searched, [(seconds, 0), (seconds, 100_000)])
    alike: Counter[str] = Counter()
    for one in done:
        alike.update(one.alike)
    tried, proven = sum(one.tried for one in done), sum(one.proven for one in done)
    found = [found for one in done for found in one.found]
    rows = [(case, count) for case, count in alike.most_common()]
    publish(
        "Search for false proofs",
        ("proven, and no station could know", "ports"),
        rows,
        f"{tried} scenarios of {len(Mode)} modes in {seconds:.0f} s on two processes, {tried / seconds:.0f} a second:"
        f" {proven} ports proven, {len(found)} of them falsely.",
        *(f"FALSE PROOF after {one.tried} scenarios: {one.to_test().strip()}" for one in found),
    )
    return done


def main() -> int:
    """Run both; exit code 1 where a proof was false."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("sites", nargs="?", type=int, default=SITES)
    parser.add_argument("--search", type=float, default=SEARCH_SECONDS, help="seconds; 0 for none")
    parser.add_argument("--old", default="")
    parser.add_argument("--write", action="store_true", help="put the tables into RESULTS.md")
    words = parser.parse_args()
    summary = campaign(words.sites, words.old)
    done = searching(words.search) if words.search else []
    return 1 if summary.false_proofs or any(one.found for one in done) else 0


if __name__ == "__main__":
    sys.exit(main())
