"""Prove thousands of plants gone wrong, on all processors: `python tests/bench/campaign.py [TRIALS [FIRST_SEED]]`."""

from __future__ import annotations

import sys
import time
from multiprocessing import Pool
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from netcheck.rig.campaign import summed, trial


def main(trials: int, first: int) -> int:
    """Print how the trials ended and every false pass; return 1 where there is one."""
    began = time.perf_counter()
    with Pool() as pool:
        summary = summed(pool.imap_unordered(trial, range(first, first + trials), chunksize=50))
    seconds = time.perf_counter() - began
    for verdict, deserved, count in summary.counts:
        print(f"{verdict:16} {'a proof was deserved' if deserved else 'no proof was deserved':22} {count:7}")
    for wrong in summary.false_passes:
        print(f"FALSE PASS seed {wrong.seed}: {', '.join(wrong.story)}: {wrong.proof.why}")
    print(f"{summary.trials} trials in {seconds:.1f} s, {summary.trials / seconds:.0f} a second")
    return 1 if summary.false_passes else 0


if __name__ == "__main__":
    words = [int(word) for word in sys.argv[1:]]
    raise SystemExit(main(*(words + [1000, 0][len(words) :])))
