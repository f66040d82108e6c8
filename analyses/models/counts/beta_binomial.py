"""Beta-binomial regression: shares of clusters that differ more than chance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, expit

from analyses.models.counts.firth import check_design, fit_firth
from analyses.models.counts.quadrature import log_ways

__all__ = ["BetaBinomialFit", "fit_beta_binomial"]

Array: TypeAlias = npt.NDArray[np.float64]

_MOST_STEPS = 200
_RUNAWAY = 25.0
_NO_SPREAD = -20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BetaBinomialFit:
    """A beta-binomial fit.

    Attributes
    ----------
    coefficients : ndarray, shape (p,)
        Log odds (ratios) of the mean share.
    covariance : ndarray, shape (p, p)
        From the observed information.
    rho : float
        Intracluster correlation of the units of a cluster, on the scale of the shares.
    logit_rho, logit_rho_error : float
        Its logit and the standard error of this; -inf and nan at zero.
    loglik, loglik_plain : float
        Log likelihood with and without the correlation, binomial coefficients included.
    statistic, p : float
        Likelihood ratio test of no correlation, chi-squared tail halved.
    at_zero, converged : bool
        Whether the best correlation is zero; whether a maximum was found (else numbers are nan).
    """

    coefficients: Array
    covariance: Array
    rho: float
    logit_rho: float
    logit_rho_error: float
    loglik: float
    loglik_plain: float
    statistic: float
    p: float
    at_zero: bool
    converged: bool


class _Curve:
    """Log likelihood and derivatives by beta and the logit of the correlation."""

    def __init__(self, X: Array, y: Array, m: Array) -> None:
        self.X, self.y, self.m = X, y, m
        self.k = np.arange(int(m.max()), dtype=float)
        self.with_event = self.k < y[:, None]
        self.without = self.k < (m - y)[:, None]
        self.all = self.k < m[:, None]

    def value(self, at: Array) -> float:
        """Give the log likelihood at (beta, logit rho)."""
        share, spread = expit(self.X @ at[:-1])[:, None], np.exp(at[-1]) * self.k
        # np.where keeps log(0) of a runaway share out of the sums that do not need it.
        one = np.log(np.where(self.with_event, share + spread, 1.0)).sum()
        none = np.log(np.where(self.without, 1 - share + spread, 1.0)).sum()
        return float(one + none - np.log1p(np.where(self.all, spread, 0.0)).sum())

    def slopes(self, at: Array) -> tuple[Array, Array]:
        """Give score and negative Hessian at (beta, logit rho)."""
        share, gamma = expit(self.X @ at[:-1]), np.exp(at[-1])
        k = self.k
        a = self.with_event / (share[:, None] + gamma * k)
        b = self.without / (1 - share[:, None] + gamma * k)
        c = self.all / (1 + gamma * k)
        by_share = a.sum(1) - b.sum(1)
        by_share2 = -(a**2).sum(1) - (b**2).sum(1)
        by_gamma = float((k * (a + b - c)).sum())
        by_gamma2 = float((k**2 * (c**2 - a**2 - b**2)).sum())
        mixed = -(k * a**2).sum(1) + (k * b**2).sum(1)
        w = share * (1 - share)
        score = np.append(self.X.T @ (w * by_share), gamma * by_gamma)
        bend = w**2 * by_share2 + w * (1 - 2 * share) * by_share
        p = self.X.shape[1]
        hessian = np.empty((p + 1, p + 1))
        hessian[:p, :p] = self.X.T @ (bend[:, None] * self.X)
        hessian[:p, p] = hessian[p, :p] = gamma * (self.X.T @ (w * mixed))
        hessian[p, p] = gamma * by_gamma + gamma**2 * by_gamma2
        return score, -hessian


def _climb(curve: _Curve, start: Array, free: int) -> tuple[Array, float, bool]:
    """Climb from a start over the first `free` parameters by guarded Newton steps."""
    at, value = start.copy(), curve.value(start)
    for _ in range(_MOST_STEPS):
        score, matrix = curve.slopes(at)
        values, vectors = np.linalg.eigh(matrix[:free, :free])
        # A direction that curves upwards is climbed as if it curved down as much.
        bend = np.maximum(np.abs(values), 1e-8 * np.abs(values).max() + 1e-300)
        step = np.zeros_like(at)
        step[:free] = vectors @ ((vectors.T @ score[:free]) / bend)
        step *= min(1.0, 2.0 / max(float(np.abs(step).max()), 1e-300))
        if np.abs(step).max() < 1e-10 * (1 + np.abs(at).max()):
            return at, value, True
        if np.abs(at[:-1]).max() > _RUNAWAY or (free == len(at) and at[-1] < _NO_SPREAD):
            return at, value, False
        new = curve.value(at + step)
        while new < value - 1e-12 * abs(value) and np.abs(step).max() > 1e-12:
            step /= 2
            new = curve.value(at + step)
        at, value = at + step, new
    return at, value, False


def fit_beta_binomial(
    design: npt.ArrayLike, events: npt.ArrayLike, totals: npt.ArrayLike
) -> BetaBinomialFit:
    """Fit a beta-binomial regression with one correlation, one row a cluster.

    Parameters
    ----------
    design : array_like, shape (n, p)
        Full rank.
    events, totals : array_like, shape (n,)
        Units with the event and units in all of each cluster.

    Notes
    -----
    Crowder (1978), Applied Statistics 27, 34-37, with the correlation rho = 1 / (1 + a + b) of the
    beta distribution; the likelihood in the sums of Griffiths (1973), Biometrics 29, 637-648,
    which keep their digits as the correlation goes to zero. statsmodels has no such model.
    """
    X, y, m = check_design(design, events, totals)
    used = m > 0
    X, y, m = X[used], y[used], m[used]
    curve, p = _Curve(X, y, m), X.shape[1]
    beta = fit_firth(X, y, m).coefficients
    beta = np.where(np.isfinite(beta), beta, 0.0)
    none, plain, plain_ends = _climb(curve, np.append(beta, -700.0), p)
    best, found, inside = none, plain, False
    for start in (-3.5, -1.0):
        at, value, ends = _climb(curve, np.append(beta, start), p + 1)
        if ends and value > found + 1e-9:
            best, found, inside = at, value, True
    return _told(curve, best, found, plain, inside=inside, converged=plain_ends or inside)


def _told(
    curve: _Curve, at: Array, value: float, plain: float, *, inside: bool, converged: bool
) -> BetaBinomialFit:
    p, nan = curve.X.shape[1], float("nan")
    ways = float(log_ways(curve.y, curve.m))
    size = p + 1 if inside else p
    inverse = np.full((size, size), nan)
    if converged:
        inverse = np.linalg.inv(curve.slopes(at)[1][:size, :size])
    statistic = max(0.0, 2 * (value - plain))
    tail = float(chdtrc(1, statistic)) / 2 if inside else 1.0
    return BetaBinomialFit(
        coefficients=at[:p] if converged else np.full(p, nan),
        covariance=inverse[:p, :p],
        rho=(float(expit(at[-1])) if inside else 0.0) if converged else nan,
        logit_rho=(float(at[-1]) if inside else -np.inf) if converged else nan,
        logit_rho_error=float(np.sqrt(inverse[p, p])) if inside else nan,
        loglik=value + ways if converged else nan,
        loglik_plain=plain + ways,
        statistic=statistic if converged else nan,
        p=tail if converged else nan,
        at_zero=converged and not inside,
        converged=converged,
    )
