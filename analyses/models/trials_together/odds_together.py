"""Odds of a loss on two sides in many trials, those without a loss kept."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize
from scipy.special import chdtrc, expit, log_expit, logsumexp, stdtr, stdtrit

from analyses.models.counts.one_share import check_level

__all__ = ["OddsTogether", "fit_odds_together"]

Array: TypeAlias = npt.NDArray[np.float64]

_NODES = 15
_ZERO = 5e-3
_RUNAWAY = 15.0
_STEP = 1e-3
_HALF = np.array([-0.5, 0.5])


@dataclass(frozen=True, slots=True, kw_only=True)
class OddsTogether:
    """The odds ratio on average over trials, and how it varies between them.

    Attributes
    ----------
    value, error, low, high : float
        Log odds ratio with its standard error and limits; NaN where the search has no end.
    df : float
        Trials less one.
    p : float
        Two-sided, for no difference.
    level : float
        Two-sided confidence.
    base : float
        Log odds halfway between the two sides, in the typical trial.
    sigma_level, sigma_effect : float
        Standard deviation between trials of the log odds and of the log odds ratio.
    loglik : float
        Log likelihood without the binomial coefficients.
    differ_p : float
        Likelihood ratio test that the log odds ratio is the same in all trials; half the
        chi-squared tail, since a variance cannot be negative (Self & Liang 1987).
    converged : bool
        False where one side lost none or all of its units in every trial.
    """

    value: float
    error: float
    low: float
    high: float
    df: float
    p: float
    level: float
    base: float
    sigma_level: float
    sigma_effect: float
    loglik: float
    differ_p: float
    converged: bool


def fit_odds_together(
    events: npt.ArrayLike, totals: npt.ArrayLike, *, level: float = 0.95, nodes: int = _NODES
) -> OddsTogether:
    """Fit log odds = a + u + (b + w) x, with u and w normal between trials and x = -1/2, 1/2.

    Parameters
    ----------
    events, totals : array_like, shape (trials, 2)
        Events and units of the control and of the treatment; a side without units says nothing.
    level : float
        Two-sided confidence.
    nodes : int
        Points of the quadrature in each direction.

    Raises
    ------
    ValueError
        With fewer than two trials, or counts that cannot be.

    Notes
    -----
    The binomial-normal model of Turner et al. (2000), Statist. Med. 19, 3417-3432, in the form of
    Jackson et al. (2018), Statist. Med. 37, 1059-1085 (model 4 with random trial levels): maximum
    likelihood by adaptive Gauss-Hermite quadrature in two dimensions (Pinheiro & Bates 1995, J.
    Comput. Graph. Statist. 4, 12-35). Inference by t on trials less one.
    """
    y, n = np.asarray(events, float), np.asarray(totals, float)
    if y.ndim != 2 or y.shape != n.shape or y.shape[1] != 2 or len(y) < 2:
        raise ValueError("events and totals must be two columns over at least two trials")
    if (y < 0).any() or (y > n).any():
        raise ValueError("events must lie between 0 and the units")
    if not _has_maximum(y, n):
        return _nothing(len(y), level)
    counts = _gathered(y, n, nodes)
    full, alike = (_best(counts, fixed=fixed) for fixed in (False, True))
    if alike[1] > full[1]:
        full = alike
    return _told(counts, full, alike[1], len(y), level)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Counts:
    """Distinct rows of counts, how many trials have each, and the points of the quadrature."""

    y: Array
    n: Array
    times: Array
    points: Array
    log_weights: Array


def _gathered(y: Array, n: Array, nodes: int) -> _Counts:
    rows, times = np.unique(np.hstack([y, n]), axis=0, return_counts=True)
    points, log_weights = _rule(nodes)
    return _Counts(
        y=rows[:, :2], n=rows[:, 2:], times=times.astype(float), points=points,
        log_weights=log_weights,
    )  # fmt: skip


def _rule(nodes: int) -> tuple[Array, Array]:
    """Give the points, shape (nodes^2, 2), and the logarithms of their weights."""
    x, w = np.polynomial.hermite.hermgauss(nodes)
    grid = np.stack(np.meshgrid(x, x, indexing="ij"), axis=-1).reshape(-1, 2)
    return np.sqrt(2) * grid, np.add.outer(np.log(w), np.log(w)).ravel() + (grid**2).sum(axis=1)


def _has_maximum(y: Array, n: Array) -> bool:
    lost, made = y.sum(axis=0), n.sum(axis=0)
    return bool(((lost > 0) & (lost < made)).all())


def _loglik(theta: Array, counts: _Counts) -> tuple[float, Array]:
    """Give the marginal log likelihood at a, b, sigma_level, sigma_effect, and its slopes."""
    y, n, times = counts.y, counts.n, counts.times
    base = theta[0] + theta[1] * _HALF
    loads = np.column_stack([np.full(2, theta[2]), theta[3] * _HALF])
    mode, root = _modes(base, loads, y, n)
    z = mode[:, None, :] + counts.points @ root.transpose(0, 2, 1)
    height = _height(z, base, loads, y, n) + counts.log_weights
    total = logsumexp(height, axis=1, keepdims=True)
    likely = times[:, None, None] * np.exp(height - total)[..., None]
    off = (y[:, None, :] - n[:, None, :] * expit(base + z @ loads.T)) * likely
    apart, both = off @ _HALF, off.sum(axis=-1)
    slopes = both.sum(), apart.sum(), (both * z[..., 0]).sum(), (apart * z[..., 1]).sum()
    log_size = np.log(np.linalg.det(root)) - np.log(np.pi)
    return float(times @ (total[:, 0] + log_size)), np.array(slopes)


def _height(z: Array, base: Array, loads: Array, y: Array, n: Array) -> Array:
    """Give the logarithm of likelihood times density at z, shape (trials, points)."""
    eta = base + z @ loads.T
    told = y[:, None, :] * log_expit(eta) + (n - y)[:, None, :] * log_expit(-eta)
    return np.asarray(told.sum(axis=-1) - 0.5 * (z**2).sum(axis=-1))


def _modes(base: Array, loads: Array, y: Array, n: Array) -> tuple[Array, Array]:
    """Give where each trial's integrand is highest, and a root of its inverse curvature."""
    z = np.zeros((len(y), 2))
    for _ in range(60):
        share = expit(base + z @ loads.T)
        slope = (y - n * share) @ loads - z
        weight = n * share * (1 - share)
        curve = np.einsum("gk,ki,kj->gij", weight, loads, loads) + np.eye(2)
        step = np.linalg.solve(curve, slope[..., None])[..., 0]
        size = np.abs(step).max(axis=1, keepdims=True)
        z = z + step * np.minimum(1.0, 2.0 / np.maximum(size, 1e-300))
        if size.max() < 1e-10:
            break
    return z, np.linalg.cholesky(np.linalg.inv(curve))


def _best(counts: _Counts, *, fixed: bool) -> tuple[Array, float, bool]:
    """Climb from two starts; `fixed` holds the spread of the effect at zero."""
    lost, made = counts.times @ counts.y, counts.times @ counts.n
    share = (lost + 0.5) / (made + 1)
    logits = np.log(share / (1 - share))
    free = 3 if fixed else 4
    known = _loglik(np.array([logits.mean(), 0.0, 0.5, 0.5]), counts)[0]

    def cost(some: Array) -> tuple[float, Array]:
        theta = np.zeros(4)
        theta[:free] = some
        value, slopes = _loglik(theta, counts)
        return known - value, -slopes[:free]

    found = []
    for spread in (0.3, 1.2):
        start = np.array([logits.mean(), logits[1] - logits[0], spread, spread])[:free]
        found.append(minimize(cost, start, method="BFGS", jac=True, options={"gtol": 1e-6}))
    best = min(found, key=lambda one: float(one.fun))
    theta = np.zeros(4)
    theta[:free] = best.x
    theta[2:] = np.abs(theta[2:])
    return theta, known - float(best.fun), bool(np.abs(theta[:2]).max() < _RUNAWAY)


def _told(
    counts: _Counts, best: tuple[Array, float, bool], alike: float, trials: int, level: float
) -> OddsTogether:
    theta, loglik, settled = best
    if not settled:
        return _nothing(trials, level)
    free = np.array([True, True, theta[2] > _ZERO, theta[3] > _ZERO])
    theta = np.where(free, theta, 0.0)
    error = float(np.sqrt(np.linalg.inv(_curvature(theta, free, counts))[1, 1]))
    df = trials - 1.0
    half = float(-stdtrit(df, (1 - check_level(level)) / 2)) * error
    value, gain = float(theta[1]), max(0.0, 2 * (loglik - alike))
    return OddsTogether(
        value=value, error=error, low=value - half, high=value + half, df=df,
        p=float(2 * stdtr(df, -abs(value / error))), level=level, base=float(theta[0]),
        sigma_level=float(theta[2]), sigma_effect=float(theta[3]), loglik=loglik,
        differ_p=float(chdtrc(1, gain)) / 2 if theta[3] > 0 else 1.0, converged=True,
    )  # fmt: skip


def _curvature(theta: Array, free: Array, counts: _Counts) -> Array:
    """Give the observed information of the parameters that are not at their bound."""
    at = np.flatnonzero(free)
    curve = np.empty((len(at), len(at)))
    for row, place in enumerate(at):
        shift = _STEP * np.eye(4)[place]
        rise = _loglik(theta + shift, counts)[1] - _loglik(theta - shift, counts)[1]
        curve[row] = -rise[at] / (2 * _STEP)
    return np.asarray((curve + curve.T) / 2)


def _nothing(trials: int, level: float) -> OddsTogether:
    nan = float("nan")
    return OddsTogether(
        value=nan, error=nan, low=nan, high=nan, df=trials - 1.0, p=nan, level=level, base=nan,
        sigma_level=nan, sigma_effect=nan, loglik=nan, differ_p=nan, converged=False,
    )  # fmt: skip
