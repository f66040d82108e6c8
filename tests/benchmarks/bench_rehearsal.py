"""Time a rehearsal beside a loop over statsmodels.

Run: OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_rehearsal
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import statistics
import time
import warnings

import numpy as np
import statsmodels.formula.api as smf

from analyses.rehearsal import rehearse
from analyses.rehearsing.truth import hoped
from tests.trials.plans import plan
from trials.assumptions import Assumptions
from trials.designs import draw
from trials.simulate import draw_trials, places
from trials.simulated_records import to_records

TRIALS, PEER_TRIALS = 10_000, 20


def _peer_seconds(trial):
    """Fit the totals of single trials (no small-sample df) and give seconds a trial."""
    layout, crop = draw(trial), Assumptions()
    drawn = draw_trials(
        places(trial, layout), hoped(trial, crop).truth, crop, flushes=3, trials=PEER_TRIALS,
        generator=np.random.default_rng(1),
    )  # fmt: skip
    times = []
    for which in range(PEER_TRIALS):
        bags = to_records(trial, layout, drawn, which).bags.dropna(subset="total_g")
        start = time.perf_counter()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            smf.mixedlm("total_g ~ treatment", bags, groups="block").fit(reml=True)
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def main():
    """Print the table."""
    trial = plan(treatments=4, blocks=6, units=3, flushes=3)
    rehearse(trial, 1000, seed=1)
    start = time.perf_counter()
    rehearse(trial, TRIALS, seed=1)
    own, each = time.perf_counter() - start, _peer_seconds(trial)
    # Each trial is simulated and analysed in two worlds.
    peer = 2 * TRIALS * each
    print(f"{TRIALS} trials in two worlds: {own:.2f} s, peer {peer:.0f} s, {peer / own:.0f} times")


if __name__ == "__main__":
    main()
