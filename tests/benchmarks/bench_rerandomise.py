"""Time re-randomisation tests beside shuffling in NumPy and SciPy's permutation test.

Run: OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_rerandomise
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


import numpy as np
import statsmodels.api as sm
from scipy.stats import permutation_test

from analyses.models.layouts.rerandomise import rerandomise
from analyses.models.layouts.rerandomise_mixed import rerandomise_mixed
from tests.benchmarks.in_process import median_seconds

DRAWS = 100_000


def _line(name, own, peer=None):
    beside = "" if peer is None else f"{peer:>10.4f}{peer / own:>8.0f}"
    print(f"{name:<66}{own:>10.4f}{beside}")


def _shuffled(labels, y, rng):
    """Shuffle within blocks of four with NumPy and give p for the last label less the first."""
    moved = rng.permuted(np.broadcast_to(y.reshape(1, 8, 4), (DRAWS, 8, 4)), axis=2)
    order = labels.reshape(8, 4)
    difference = (moved * ((order == 3) * 1.0 - (order == 0))).sum(axis=(1, 2))
    observed = (y * ((labels == 3) * 1.0 - (labels == 0))).sum()
    return (np.count_nonzero(np.abs(difference) >= abs(observed)) + 1) / (DRAWS + 1)


def _least_squares_loop(labels, blocks, y, rng, layouts):
    """Refit by statsmodels for each shuffled layout."""
    dummies = np.eye(8)[blocks]
    for _ in range(layouts):
        shuffled = rng.permuted(labels.reshape(8, 4), axis=1).ravel()
        sm.OLS(y, np.concatenate([np.eye(4)[shuffled][:, 1:], dummies], axis=1)).fit()


def main():
    """Print the table."""
    rng = np.random.default_rng(1)
    labels, blocks = np.tile(np.arange(4), 8), np.repeat(np.arange(8), 4)
    y = rng.normal(400, 50, 32) + 20 * (labels == 3)
    kind = {"treated": 3, "control": 0, "blocks": blocks, "generator": rng}
    print(f"{'work':<66}{'seconds':>10}{'peer':>10}{'ratio':>8}")
    own = median_seconds(lambda: rerandomise(labels, y, **kind))
    peer = median_seconds(lambda: _shuffled(labels, y, rng), 3)
    _line("100,000 layouts of 8 blocks x 4, beside shuffling in NumPy", own, peer)
    loop = median_seconds(lambda: _least_squares_loop(labels, blocks, y, rng, 100), 3) * 1000
    _line("the same, beside a loop over statsmodels", own, loop)
    every = median_seconds(lambda: rerandomise(labels, y, **kind, enumerate_up_to=24**8))
    _line("all 110,075,314,176 layouts of 8 blocks x 4, counted", every)
    lost = np.where(np.isin(np.arange(32), (5, 18)), np.nan, y)
    _line(
        "100,000 layouts, two units lost",
        median_seconds(lambda: rerandomise(labels, lost, **kind)),
    )
    between = {**kind, "statistic": "treatments"}
    own = median_seconds(lambda: rerandomise(labels, y, **between))
    _line("100,000 layouts, sum of squares between treatments", own)
    two, grams = np.repeat([0, 1], 10), np.round(rng.normal(400, 50, 20), 1)
    own = median_seconds(lambda: rerandomise(two, grams, treated=1, control=0))

    def difference(a, b, axis):
        return a.mean(axis=axis) - b.mean(axis=axis)

    def scipy_test():
        permutation_test((grams[10:], grams[:10]), difference, vectorized=True, n_resamples=np.inf)

    _line("all 184,756 layouts of 10 + 10 units, beside SciPy", own, median_seconds(scipy_test, 1))
    _line("1,000 layouts of a mixed model, 72 bags x 3 flushes", _mixed(rng))


def _mixed(rng):
    block, bag, flush = np.indices((6, 12, 3)).reshape(3, -1)
    unit, treatment = block * 12 + bag, np.tile(np.arange(4), 18)
    y = rng.normal(size=216) + rng.normal(size=72)[unit] + rng.normal(size=6)[block]
    x = (np.eye(4)[treatment[unit]][:, :, None] * np.eye(3)[flush][:, None]).reshape(216, -1)
    means = np.kron(np.eye(4), np.full((1, 3), 1 / 3))
    groups = {"block": block, "bag": unit}
    kind = {"blocks": np.repeat(np.arange(6), 12), "generator": rng, "draws": 1000}
    return median_seconds(
        lambda: rerandomise_mixed(treatment, y, unit, x, means[3] - means[0], groups, **kind), 5
    )


if __name__ == "__main__":
    main()
