"""Time many trials fitted at once beside a loop over statsmodels.

Run: OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_batched
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import statistics
import time
import tracemalloc

import numpy as np
import pandas as pd

from analyses.models.batches.batched import fit_batch
from tests.benchmarks.in_process import fit_by_statsmodels, median_seconds

TRIALS, PEER_TRIALS = 1000, 10


class Trial:
    """4 treatments x 6 blocks x 3 bags x 3 flushes, treatments compared over flushes."""

    def __init__(self):
        places = np.indices((4, 6, 3, 3)).reshape(4, -1)
        self.treatment, self.block, bag, self.flush = places
        self.bag = (self.treatment * 6 + self.block) * 3 + bag
        cells = np.eye(4)[self.treatment][:, :, None] * np.eye(3)[self.flush][:, None]
        self.x = cells.reshape(len(self.bag), -1)
        means = np.kron(np.eye(4), np.full((1, 3), 1 / 3))
        self.rows = means[1:] - means[:1]

    def draw(self, rng, lost):
        """Log yields; `lost` names what 8 % of is missing: "bags" or "rows"."""
        y = rng.normal(0, 0.16, (len(self.bag), TRIALS)) + 5.5 - 0.5 * self.flush[:, None]
        y += rng.normal(0, 0.19, (6, TRIALS))[self.block]
        y += rng.normal(0, 0.10, (72, TRIALS))[self.bag]
        gone = rng.random((72, TRIALS))[self.bag] if lost == "bags" else rng.random(y.shape)
        return np.where(gone < 0.08, np.nan, y)


def _peer_seconds(trial, y):
    """Fit a few trials with statsmodels (no small-sample df) and give seconds a trial."""
    times = []
    for column in y.T[:PEER_TRIALS]:
        data = pd.DataFrame(
            {
                "y": column,
                "treatment": trial.treatment,
                "flush": trial.flush,
                "block": trial.block,
                "bag": trial.bag,
            }
        ).dropna()
        start = time.perf_counter()
        fit_by_statsmodels(data)
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def main():
    """Print the table."""
    trial, rng = Trial(), np.random.default_rng(1)
    groups = {"block": trial.block, "bag": trial.bag}
    print(f"{'work':<66}{'seconds':>10}{'peer':>10}{'ratio':>8}")
    for lost in ("bags", "rows"):
        y = trial.draw(rng, lost)
        own = median_seconds(lambda y=y: fit_batch(y, trial.x, trial.rows, groups), 15)
        peer = TRIALS * _peer_seconds(trial, y)
        name = f"{TRIALS} trials, 8 % of {lost} lost, 3 contrasts, Kenward-Roger"
        print(f"{name:<66}{own:>10.4f}{peer:>10.1f}{peer / own:>8.0f}")
        one = median_seconds(lambda y=y: fit_batch(y[:, :1], trial.x, trial.rows, groups), 31)
        name = f"one trial, 8 % of {lost} lost"
        print(f"{name:<66}{one:>10.4f}{peer / TRIALS:>10.3f}{peer / TRIALS / one:>8.0f}")
    totals = trial.draw(rng, "bags")[trial.flush == 0]
    blocks, first = trial.block[trial.flush == 0], np.eye(4)[trial.treatment[trial.flush == 0]]
    rows = np.eye(4)[1:] - np.eye(4)[:1]
    own = median_seconds(lambda: fit_batch(totals, first, rows, {"block": blocks}), 15)
    print(f"{f'{TRIALS} trials, totals by bag in blocks, 8 % lost':<66}{own:>10.4f}")
    tracemalloc.start()
    fit_batch(np.tile(y, 10), trial.x, trial.rows, groups)
    peak = tracemalloc.get_traced_memory()[1] / 2**20
    print(
        f"{f'{10 * TRIALS} trials, rows lost: peak memory beyond the data, MiB':<66}{peak:>10.0f}"
    )


if __name__ == "__main__":
    main()
