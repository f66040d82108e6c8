"""Logistic regression with a random intercept for each cluster, one trial or many at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc

from analyses.models.counts.firth import check_design, fit_firth_many
from analyses.models.counts.quadrature import Layout, Marginal, gather, log_ways

__all__ = [
    "RandomInterceptFit",
    "RandomInterceptFits",
    "between_within_df",
    "fit_random_intercept",
    "fit_random_intercept_many",
]

Array: TypeAlias = npt.NDArray[np.float64]

_MOST_STEPS = 60
_MOST_HALVINGS = 12
_SMALL = 1e-8
_ZERO = 1e-4
# Log odds beyond this say that a share is 0 or 1 to all digits that matter: the fit runs away.
_RUNAWAY = 25.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RandomInterceptFit:
    """A logistic fit with a random intercept.

    Attributes
    ----------
    coefficients : ndarray, shape (p,)
        Log odds (ratios), within a cluster.
    covariance : ndarray, shape (p, p)
        From the observed information, the variance's uncertainty included.
    df : ndarray, shape (p,)
        Between-within degrees of freedom of each coefficient.
    sigma, sigma_error : float
        Standard deviation of the clusters on the log odds scale and its standard error (nan at
        zero).
    loglik, loglik_plain : float
        Log likelihood with and without the random intercept, binomial coefficients of the given
        rows included.
    statistic, p : float
        Likelihood ratio test that the clusters do not differ; p halves the chi-squared tail, since
        a variance cannot be negative.
    clusters, units : int
        How many there are.
    at_zero : bool
        Whether the best standard deviation is zero.
    converged : bool
        False when the search ended nowhere, as under complete separation; the numbers are then nan.
    notes : tuple of str
        What a reader should know of the fit.
    """

    coefficients: Array
    covariance: Array
    df: Array
    sigma: float
    sigma_error: float
    loglik: float
    loglik_plain: float
    statistic: float
    p: float
    clusters: int
    units: int
    at_zero: bool
    converged: bool
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RandomInterceptFits:
    """Logistic fits with a random intercept of many trials.

    Attributes
    ----------
    coefficients : ndarray, shape (trials, p)
    covariances : ndarray, shape (trials, p, p)
    sigma, sigma_error, loglik : ndarray, shape (trials,)
    converged : ndarray of bool, shape (trials,)
        As in `RandomInterceptFit`; numbers are nan where a search ended nowhere.
    """

    coefficients: Array
    covariances: Array
    sigma: Array
    sigma_error: Array
    loglik: Array
    converged: npt.NDArray[np.bool_]


@dataclass(slots=True, kw_only=True)
class _Climb:
    """Where the search of each trial stands."""

    beta: Array
    sigma: Array
    mode: Array
    value: Array
    observed: Array
    converged: npt.NDArray[np.bool_]


def between_within_df(design: npt.ArrayLike, cluster: npt.ArrayLike, units: int) -> Array:
    """Give the between-within degrees of freedom of each column of a design.

    Parameters
    ----------
    design : array_like, shape (n, p)
    cluster : array_like, shape (n,)
    units : int
        How many units stand behind the rows.

    Returns
    -------
    ndarray, shape (p,)
        Clusters less columns that are constant in each cluster, for those columns; units less
        clusters less the other columns, for these. At least 0.

    Notes
    -----
    Schluchter & Elashoff (1990), J. Statist. Comput. Simul. 37, 69-87; for binary outcomes in few
    clusters, Li & Redden (2015), BMC Med. Res. Methodol. 15:38.
    """
    X = np.atleast_2d(np.asarray(design, float))
    labels, group = np.unique(np.asarray(cluster), return_inverse=True)
    _, first = np.unique(group, return_index=True)
    between = np.isclose(X, X[first][group]).all(axis=0)
    outer = len(labels) - between.sum()
    inner = units - len(labels) - (~between).sum()
    return np.asarray(np.where(between, max(outer, 0), max(inner, 0)), float)


def _start(X: Array, layout: Layout, y: Array, m: Array) -> tuple[Array, Array]:
    """Give penalised coefficients and a standard deviation from the spread of the clusters."""
    firth = fit_firth_many(X, y, m)
    beta = np.where(np.isfinite(firth.coefficients), firth.coefficients, 0.0)
    share = 1 / (1 + np.exp(-beta @ X.T))
    off = layout.fold(y - m * share).sum(axis=0)
    weight = layout.fold(m * share * (1 - share)).sum(axis=0)
    variance = (off**2 - weight).sum(axis=0) / np.maximum((weight**2).sum(axis=0), 1e-12)
    return beta, np.sqrt(np.clip(variance, 0.09, 4.0))


def _direction(observed: Array, complete: Array, score: Array, free: int) -> Array:
    """Give Newton steps where the curvature allows, else steps with the complete information."""
    step = np.zeros_like(score)
    slope = score[:, :free, None]
    hair = 1e-10 * np.eye(free) * np.abs(complete).max(axis=(1, 2))[:, None, None] + 1e-300
    matrix = observed[:, :free, :free] + hair
    definite = np.linalg.eigvalsh(matrix)[:, 0] > 0
    matrix = np.where(definite[:, None, None], matrix, complete[:, :free, :free] + hair)
    step[:, :free] = np.linalg.solve(matrix, slope)[..., 0]
    longest = np.abs(step).max(axis=1, keepdims=True)
    return np.asarray(step * np.minimum(1.0, 2.0 / np.maximum(longest, 1e-300)))


def _climb(
    marginal: Marginal, y: Array, m: Array, beta: Array, sigma: Array, *, with_sigma: bool
) -> _Climb:
    """Climb the marginal likelihood of every trial; finished trials leave the work."""
    trials, p = beta.shape
    free = p + 1 if with_sigma else p
    mode = np.zeros((marginal.layout.design.shape[1], trials))
    at = _Climb(
        beta=beta.copy(),
        sigma=sigma.copy(),
        mode=mode,
        value=np.full(trials, -np.inf),
        observed=np.full((trials, p + 1, p + 1), np.nan),
        converged=np.zeros(trials, bool),
    )
    live = np.arange(trials)
    here = marginal.slopes(at.beta, at.sigma, y, m, at.mode)
    for _ in range(_MOST_STEPS):
        step = _direction(here.observed, here.complete, here.score, free)
        at.value[live], at.observed[live], at.mode[:, live] = here.value, here.observed, here.mode
        size = np.abs(step).max(axis=1)
        at.converged[live] = size < _SMALL * (1 + np.abs(at.beta[live]).max(axis=1))
        gone = np.abs(at.beta[live] + step[:, :p]).max(axis=1) > _RUNAWAY
        keep = ~(at.converged[live] | gone)
        live, step = live[keep], step[keep]
        if live.size == 0:
            break
        for _ in range(_MOST_HALVINGS):
            new_beta = at.beta[live] + step[:, :p]
            new_sigma = np.abs(at.sigma[live] + step[:, p])
            here = marginal.slopes(
                new_beta, new_sigma, y[..., live], m[..., live], at.mode[:, live]
            )
            # The slack is the error that the quadrature itself may have.
            worse = here.value < at.value[live] - 1e-6
            if not worse.any():
                break
            step[worse] /= 2
        at.beta[live], at.sigma[live] = new_beta, new_sigma
    return at


def _finish(at: _Climb, p: int) -> RandomInterceptFits:
    zero = at.sigma < _ZERO
    covariances = np.full((len(at.sigma), p, p), np.nan)
    error = np.full(len(at.sigma), np.nan)
    for rows, size in ((at.converged & ~zero, p + 1), (at.converged & zero, p)):
        if rows.any():
            inverse = np.linalg.inv(at.observed[rows][:, :size, :size])
            covariances[rows] = inverse[:, :p, :p]
            if size > p:
                error[rows] = np.sqrt(np.maximum(inverse[:, p, p], 0))
    lost = ~at.converged
    return RandomInterceptFits(
        coefficients=np.where(lost[:, None], np.nan, at.beta),
        covariances=covariances,
        sigma=np.where(lost, np.nan, np.where(zero, 0.0, at.sigma)),
        sigma_error=error,
        loglik=np.where(lost, np.nan, at.value),
        converged=at.converged,
    )


def fit_random_intercept_many(
    design: npt.ArrayLike,
    cluster: npt.ArrayLike,
    events: npt.ArrayLike,
    totals: npt.ArrayLike | None = None,
    *,
    nodes: int = 15,
) -> RandomInterceptFits:
    """Fit a logistic model with a random intercept to many trials of one design.

    Parameters
    ----------
    design : array_like, shape (n, p)
        Full rank; one row a unit, or one row a group of like units of one cluster.
    cluster : array_like, shape (n,)
        Labels of the clusters.
    events : array_like, shape (trials, n)
        Units with the event.
    totals : array_like, shape (trials, n) or (n,), optional
        Units in all; 1 when not given.
    nodes : int
        Points of the quadrature: 15 give about 1e-5 in the coefficients, 25 give 1e-6.

    Notes
    -----
    Maximum likelihood by adaptive Gauss-Hermite quadrature (Pinheiro & Bates 1995) and Newton's
    method; all trials move together. statsmodels has only variational and Laplace-like fits of
    this model, which are off where clusters are small.
    """
    X, y, m = check_design(design, np.atleast_2d(np.asarray(events, float)), totals)
    layout = gather(X, cluster)
    beta, sigma = _start(X, layout, y, m)
    at = _climb(
        Marginal(layout, nodes), layout.fold(y), layout.fold(m), beta, sigma, with_sigma=True
    )
    at.value = at.value + log_ways(y, m)
    return _finish(at, X.shape[1])


def fit_random_intercept(
    design: npt.ArrayLike,
    cluster: npt.ArrayLike,
    events: npt.ArrayLike,
    totals: npt.ArrayLike | None = None,
    *,
    nodes: int = 31,
) -> RandomInterceptFit:
    """Fit a logistic model with a random intercept to one trial.

    Parameters
    ----------
    design : array_like, shape (n, p)
        Full rank; one row a unit, or one row a group of like units of one cluster.
    cluster : array_like, shape (n,)
        Labels of the clusters.
    events : array_like, shape (n,)
        Units with the event.
    totals : array_like, shape (n,), optional
        Units in all; 1 when not given.
    nodes : int
        Points of the quadrature.

    Notes
    -----
    As `fit_random_intercept_many`, searched from a small and from a large variance. The test of the
    variance is that of Self & Liang (1987), JASA 82, 605-610, case 5.

    Examples
    --------
    >>> fit = fit_random_intercept([[1]] * 4, [*"abcd"], [0, 3, 9, 2], [10, 10, 10, 10])
    >>> fit.converged, fit.p < 0.01
    (True, True)
    """
    X, y, m = check_design(design, np.atleast_2d(np.asarray(events, float)), totals)
    layout = gather(X, cluster)
    beta, sigma = _start(X, layout, y, m)
    folded = layout.fold(y), layout.fold(m)
    twice = [np.repeat(each, 2, axis=2) for each in folded]
    starts = np.repeat(beta, 2, axis=0), np.array([sigma[0], 2.0])
    at = _climb(Marginal(layout, nodes), twice[0], twice[1], *starts, with_sigma=True)
    none = np.zeros(1)
    plain = _climb(Marginal(layout, 1), folded[0], folded[1], beta, none, with_sigma=False)
    fits = _finish(at, X.shape[1])
    best = int(np.argmax(np.where(fits.converged, fits.loglik, -np.inf)))
    return _told(X, cluster, m, fits, best, float(plain.value[0]), float(log_ways(y, m)[0]))


def _half_tail(statistic: float) -> float:
    """Give the p value of a variance: half of chi-squared on one, half a point at zero."""
    if np.isnan(statistic):
        return float("nan")
    return float(chdtrc(1, statistic)) / 2 if statistic > 0 else 1.0


def _told(
    X: Array,
    cluster: npt.ArrayLike,
    m: Array,
    fits: RandomInterceptFits,
    best: int,
    plain: float,
    ways: float,
) -> RandomInterceptFit:
    converged, sigma = bool(fits.converged[best]), float(fits.sigma[best])
    statistic = max(0.0, 2 * (float(fits.loglik[best]) - plain)) if converged else float("nan")
    notes = []
    if not converged:
        notes.append("no maximum: some shares are 0 or 1 whatever the rest; use Firth's penalty")
    elif sigma == 0:
        notes.append("the clusters differ no more than chance would make them: variance at zero")
    used = m[0] > 0
    labels = np.asarray(cluster)[used]
    return RandomInterceptFit(
        coefficients=fits.coefficients[best],
        covariance=fits.covariances[best],
        df=between_within_df(X[used], labels, int(m.sum())),
        sigma=sigma,
        sigma_error=float(fits.sigma_error[best]),
        loglik=float(fits.loglik[best]) + ways,
        loglik_plain=plain + ways,
        statistic=statistic,
        p=_half_tail(statistic),
        clusters=len(np.unique(labels)),
        units=int(m.sum()),
        at_zero=converged and sigma == 0,
        converged=converged,
        notes=tuple(notes),
    )
