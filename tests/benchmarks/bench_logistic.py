"""Time Firth and random-intercept logistic fits, many trials at once, beside statsmodels.

Run: OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_logistic
Where firthmodels is installed (`pip install --no-deps firthmodels`; no dependency of ours) it is
timed on the same trials, and its estimates are compared.
"""

from __future__ import annotations

import time
import warnings

import numpy as np
from scipy.special import expit

from analyses.models.counts.firth import fit_firth, fit_firth_many
from analyses.models.counts.firth_profile import profile_interval
from analyses.models.counts.random_intercept import fit_random_intercept, fit_random_intercept_many

TRIALS = 1000


def _per_fit(task, fits, repeats=5):
    """Give the best time of several runs, in milliseconds a fit."""
    best = np.inf
    for _ in range(repeats):
        start = time.perf_counter()
        task()
        best = min(best, time.perf_counter() - start)
    return 1000 * best / fits


def _line(name, milliseconds):
    print(f"{name:<72}{milliseconds:>10.4f} ms a fit")


def firth():
    rng = np.random.default_rng(1)
    arms = np.array([[1, 0], [1, 1]], float)
    blocks = np.array(
        [[1, arm, *(b == k for k in range(1, 4))] for arm in (0, 1) for b in range(4)], float
    )
    for name, X, size in (("two arms", arms, 48), ("two arms in four blocks", blocks, 12)):
        m = np.full(len(X), size)
        y = rng.binomial(size, 0.1, (TRIALS, len(X)))
        many = _per_fit(lambda X=X, y=y, m=m: fit_firth_many(X, y, m), TRIALS)
        _line(f"Firth, {name}, {TRIALS} trials at once", many)
        _line(f"Firth, {name}, one trial", _per_fit(lambda X=X, y=y, m=m: fit_firth(X, y[0], m), 1))
        fit = fit_firth(X, y[0], m)
        weights = np.eye(X.shape[1])[1]
        one = _per_fit(lambda fit=fit, weights=weights: profile_interval(fit, weights), 1)
        _line(f"Firth, {name}, profile interval of one trial", one)


def firthmodels():
    """Time a maintained library's Firth fit, bag by bag, and say how far its odds are from ours."""
    try:
        from firthmodels import FirthLogisticRegression
    except ImportError:
        print("firthmodels is not installed")
        return
    rng = np.random.default_rng(1)
    y = rng.binomial(48, 0.1, (TRIALS, 2))
    X = np.array([[1, 0], [1, 1]], float)
    rows = np.repeat([0.0, 1.0], 48)[:, None]
    bags = [np.concatenate([np.arange(48) < lost for lost in pair]).astype(int) for pair in y[:20]]
    model = FirthLogisticRegression(gtol=1e-7, xtol=1e-7, max_iter=200)

    def each():
        return [float(model.fit(rows, one).coef_[0]) for one in bags]

    _line("firthmodels, two arms, one trial", _per_fit(each, len(bags)))
    ours = fit_firth_many(X, y[:20], np.full(2, 48)).coefficients[:, 1]
    print(f"largest difference of log odds: {np.abs(np.array(each()) - ours).max():.1e}")


def random_intercept():
    rng = np.random.default_rng(1)
    X = np.column_stack([np.ones(16), np.repeat([0, 1], 8)])
    batch, m = np.arange(16), np.full(16, 12)
    y = rng.binomial(12, expit(-1.5 + rng.normal(0, 0.7, (TRIALS, 16))))
    for nodes in (15, 25):
        many = _per_fit(
            lambda nodes=nodes: fit_random_intercept_many(X, batch, y, m, nodes=nodes), TRIALS
        )
        _line(f"random batch, 2 x 8 batches of 12, {nodes} nodes, {TRIALS} at once", many)
    one = _per_fit(lambda: fit_random_intercept(X, batch, y[0], m), 1)
    _line("random batch, one trial, two starts, 31 nodes, variance test", one)
    return X, batch, y[0]


def statsmodels(X, batch, y):
    """Time the nearest models of statsmodels on one of the same trials, units one by one."""
    import statsmodels.api as sm
    from statsmodels.genmod.bayes_mixed_glm import BinomialBayesMixedGLM

    warnings.simplefilter("ignore")
    rows = np.repeat(np.arange(16), 12)
    ones = np.concatenate([np.r_[np.ones(k), np.zeros(12 - k)] for k in y])
    family = sm.families.Binomial()
    plain = _per_fit(lambda: sm.GLM(np.column_stack([y, 12 - y]), X, family=family).fit(), 1)
    _line("statsmodels GLM binomial, no random batch, no penalty, one trial", plain)
    member = (batch[rows][:, None] == np.arange(16)).astype(float)
    model = BinomialBayesMixedGLM(ones, X[rows], member, np.zeros(16, int))
    _line("statsmodels BinomialBayesMixedGLM (MAP), one trial", _per_fit(model.fit_map, 1, 3))
    gee = sm.GEE(ones, X[rows], groups=batch[rows], family=sm.families.Binomial())
    _line("statsmodels GEE, one trial", _per_fit(gee.fit, 1, 3))


if __name__ == "__main__":
    firth()
    firthmodels()
    statsmodels(*random_intercept())
