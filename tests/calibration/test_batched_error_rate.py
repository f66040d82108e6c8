"""How often small trials with nothing to find claim a difference at 5 %."""

from __future__ import annotations

import numpy as np
import pytest

from analyses.models.batches.batched import fit_batch
from analyses.models.layouts.rerandomise import rerandomise

TRIALS = 20_000


@pytest.mark.slow
@pytest.mark.parametrize("block_variance", [0.0, 0.1, 1.0, 10.0])
@pytest.mark.parametrize("flushes", [1, 3])
def test_kenward_roger_in_four_blocks(block_variance, flushes):
    """Simulated; at most 5 % and a sampling error, as Kenward & Roger (1997) section 5 found.

    With the block variance near zero the estimate is often at zero and the test errs less.
    """
    rng = np.random.default_rng(int(10 * block_variance) + flushes)
    treatment, block, _ = np.indices((3, 4, flushes)).reshape(3, -1)
    bag = treatment * 4 + block
    y = rng.normal(size=(len(bag), TRIALS)) + rng.normal(size=(12, TRIALS))[bag]
    y += np.sqrt(block_variance) * rng.normal(size=(4, TRIALS))[block]
    y[(rng.random((12, TRIALS)) < 0.08)[bag]] = np.nan
    groups = {"block": block, "bag": bag} if flushes > 1 else {"block": block}
    fit = fit_batch(y, np.eye(3)[treatment], [[-1, 0, 1]], groups)
    p = fit.p[0][np.isfinite(fit.p[0])]
    assert len(p) > 0.98 * TRIALS
    assert 0.04 < (p < 0.05).mean() < 0.062
    assert fit.converged.mean() > 0.999


@pytest.mark.slow
def test_drawn_rerandomisation_never_errs_too_often():
    """Phipson & Smyth (2010): with the layout used counted in, P(p <= a) <= a."""
    rng = np.random.default_rng(3)
    labels, blocks = np.tile([0, 1, 2], 6), np.repeat(np.arange(6), 3)
    kind = {"treated": 2, "control": 0, "blocks": blocks, "generator": rng}
    p = np.array(
        [
            rerandomise(labels, rng.exponential(size=18), **kind, draws=199, enumerate_up_to=0).p
            for _ in range(4000)
        ]
    )
    for level in (0.01, 0.05, 0.2):
        assert (p <= level).mean() < level + 4 * np.sqrt(level * (1 - level) / len(p))
