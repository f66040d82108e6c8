"""Time rehearsals: of yields, beside a loop over statsmodels, and of the share kept by flushes.

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

TRIALS, FLUSH_TRIALS, PEER_TRIALS = 10_000, 1_000, 20
FLUSH_DROP = 'outcome = "flush drop"\nworthwhile = "10 in 100"'


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


def _flush_drop(name, trial):
    rehearse(trial, 20, seed=1)
    start = time.process_time()
    rehearse(trial, FLUSH_TRIALS, seed=1)
    spent = time.process_time() - start
    each = 1000 * spent / (2 * FLUSH_TRIALS)
    print(
        f"{FLUSH_TRIALS} flush drops, {name}, in two worlds: {spent:.1f} s, {each:.1f} ms a trial"
    )


def main():
    """Print the times."""
    trial = plan(treatments=4, blocks=6, units=3, flushes=3)
    rehearse(trial, 1000, seed=1)
    start = time.perf_counter()
    rehearse(trial, TRIALS, seed=1)
    own, each = time.perf_counter() - start, _peer_seconds(trial)
    # Each trial is simulated and analysed in two worlds.
    peer = 2 * TRIALS * each
    print(f"{TRIALS} trials in two worlds: {own:.2f} s, peer {peer:.0f} s, {peer / own:.0f} times")
    _flush_drop(
        "4 mixes x 6 blocks x 3 bags x 3 flushes",
        plan(treatments=4, blocks=6, units=3, flushes=3, aim=FLUSH_DROP),
    )
    _flush_drop(
        "2 mixes x 4 blocks x 2 bags x 3 flushes",
        plan(blocks=4, units=2, flushes=3, aim=FLUSH_DROP),
    )


if __name__ == "__main__":
    main()
