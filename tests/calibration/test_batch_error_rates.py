"""How often each analysis of whole batches finds a difference where there is none.

Run: python -m pytest -m slow tests/calibration/test_batch_error_rates.py
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import stdtr
from scipy.stats import chi2

from analyses.models.counts.random_intercept import fit_random_intercept_many

TRIALS = 10_000
BAGS = 12
SHARE = 0.2


def _lost(rng, batches, correlation):
    """Draw bags lost in each batch, beta-binomial with one share for both arms."""
    if correlation == 0:
        return rng.binomial(BAGS, SHARE, (TRIALS, batches))
    spread = (1 - correlation) / correlation
    shares = rng.beta(SHARE * spread, (1 - SHARE) * spread, (TRIALS, batches))
    return rng.binomial(BAGS, shares)


def _by_batches(y, second):
    """Give p values of Student's t on the shares of the batches."""
    one, two = y[:, ~second] / BAGS, y[:, second] / BAGS
    k = second.sum()
    variance = (one.var(axis=1, ddof=1) + two.var(axis=1, ddof=1)) / k
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (one.mean(axis=1) - two.mean(axis=1)) / np.sqrt(variance)
    return np.where(variance > 0, 2 * stdtr(2 * k - 2, -np.abs(t)), 1.0)


def _by_bags(y, second):
    """Give p values of Pearson's chi-squared on the bags, batches forgotten."""
    n = BAGS * second.sum()
    a, b = y[:, ~second].sum(axis=1), y[:, second].sum(axis=1)
    pooled = (a + b) / (2 * n)
    variance = np.maximum(pooled * (1 - pooled) * 2 / n, 1e-300)
    return chi2.sf(((a - b) / n) ** 2 / variance, 1)


def _by_quadrature(y, second):
    """Give p values of the random intercept's t on between-within degrees of freedom."""
    batches = len(second)
    X = np.column_stack([np.ones(batches), second])
    fits = fit_random_intercept_many(X, np.arange(batches), y, np.full(batches, BAGS))
    t = fits.coefficients[:, 1] / np.sqrt(fits.covariances[:, 1, 1])
    # A trial in which one arm lost nothing has no fit and claims nothing.
    return np.where(fits.converged, 2 * stdtr(batches - 2, -np.abs(t)), 1.0)


# Found in percent, 10,000 trials each (standard error 0.22): batches in all, intracluster
# correlation; t of batch shares, bags counted as if alone, random intercept with t. The t of batch
# shares keeps its level everywhere; bags as if alone claim two to five times too often; the random
# intercept is too careful where batches hardly differ.
FOUND = {
    (8, 0.00): (5.37, 4.79, 0.79),
    (8, 0.05): (5.33, 12.15, 2.07),
    (8, 0.15): (4.83, 24.29, 3.91),
    (12, 0.00): (5.12, 5.25, 2.10),
    (12, 0.05): (4.89, 11.48, 3.96),
    (12, 0.15): (4.80, 24.09, 5.59),
}


@pytest.mark.slow
@pytest.mark.parametrize(("batches", "correlation"), FOUND)
def test_error_rates_of_whole_batches(batches, correlation):
    rng = np.random.default_rng(20_000 + batches + round(100 * correlation))
    y = _lost(rng, batches, correlation)
    second = np.arange(batches) >= batches // 2
    found = [100 * (p(y, second) < 0.05).mean() for p in (_by_batches, _by_bags, _by_quadrature)]
    by_batches, by_bags, by_quadrature = found
    assert 4 <= by_batches <= 6
    assert by_quadrature <= 6.5
    if correlation >= 0.05:
        assert by_bags > 7.5
    assert found == pytest.approx(FOUND[batches, correlation], abs=0.3)
