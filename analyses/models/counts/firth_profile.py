"""Profile penalised likelihood: intervals and tests for a Firth fit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, chdtri

from analyses.models.counts.firth import FirthFit, climb
from analyses.models.counts.one_share import check_level
from analyses.models.numerics.bracketing import find_root

__all__ = ["PenalisedTest", "ProfileInterval", "penalised_test", "profile_interval"]

Array: TypeAlias = npt.NDArray[np.float64]

_MOST_DOUBLINGS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfileInterval:
    """A contrast of coefficients with its profile interval.

    Attributes
    ----------
    value, low, high : float
        On the log odds scale.
    level : float
        Two-sided confidence.
    error : float
        Standard error from the information, which the interval does not use.
    statistic, p : float
        Penalised likelihood ratio chi-squared on one degree of freedom, and its p value.
    method : str
        The name of the interval.
    """

    value: float
    low: float
    high: float
    level: float
    error: float
    statistic: float
    p: float
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PenalisedTest:
    """A penalised likelihood ratio test that contrasts are zero.

    Attributes
    ----------
    statistic : float
        Chi-squared statistic.
    df : int
        How many contrasts.
    p : float
        p value.
    method : str
        The name of the test.
    """

    statistic: float
    df: int
    p: float
    method: str


def _turned(fit: FirthFit, weights: npt.ArrayLike) -> tuple[Array, Array]:
    """Give a basis in which the contrasts are the first coefficients.

    Returns
    -------
    forth, back : ndarray, shape (p, p)
        gamma = forth @ beta has the contrasts first; beta = back @ gamma.
    """
    rows = np.atleast_2d(np.asarray(weights, float))
    if rows.shape[1] != len(fit.coefficients):
        raise ValueError(f"{rows.shape[1]} weights for {len(fit.coefficients)} coefficients")
    if np.linalg.matrix_rank(rows) < len(rows):
        raise ValueError("the contrasts depend on each other")
    # The rest of the basis is uncorrelated with the contrasts at the estimate, so that the other
    # coefficients hardly move when a contrast is held elsewhere.
    along = fit.covariance @ rows.T
    _, _, turn = np.linalg.svd(along.T)
    forth = np.vstack([rows, turn[len(rows) :]])
    return forth, np.linalg.inv(forth)


class _Profile:
    """The best penalised likelihood with the first coefficients of a turned fit held."""

    def __init__(self, fit: FirthFit, weights: npt.ArrayLike) -> None:
        if not fit.converged:
            raise ValueError("the fit did not reach a maximum, so it has no profile")
        self.forth, back = _turned(fit, weights)
        self.design = fit.design @ back
        self.y, self.m = fit.events, fit.totals
        self.best = self.forth @ fit.coefficients
        self.contrasts = np.atleast_2d(np.asarray(weights, float)).shape[0]
        # The penalty changes by this constant when the basis turns.
        self.shift = -np.linalg.slogdet(self.forth)[1]
        self.top = fit.loglik

    def at(self, held: Array) -> Array:
        """Give the profile at each row of held contrasts, the best of several starts."""
        starts = self._starts(held)
        count, many, p = starts.shape
        free = np.ones((count * many, p))
        free[:, : self.contrasts] = 0
        flat = starts.reshape(-1, p)
        y, m = (np.broadcast_to(each, (len(flat), len(each))).copy() for each in (self.y, self.m))
        _, loglik, _ = climb(self.design, y, m, flat, free)
        return np.asarray(loglik.reshape(count, many).max(axis=0) - self.shift)

    def _starts(self, held: Array) -> Array:
        """Give starts: where the fit stands, at zero, and both moved with the held value."""
        near = np.tile(self.best, (len(held), 1))
        near[:, : self.contrasts] = held
        zero = np.zeros_like(near)
        zero[:, : self.contrasts] = held
        # Under separation the others follow the held coefficient in proportion.
        scale = held[:, :1] / np.where(self.best[0] == 0, 1.0, self.best[0])
        far = near.copy()
        far[:, self.contrasts :] *= np.clip(scale, -20, 20)
        least = self._least_squares(held)
        return np.stack([near, zero, far, least])

    def _least_squares(self, held: Array) -> Array:
        """Give the start that keeps the linear predictors nearest to those of the fit."""
        k = self.contrasts
        eta = self.design @ self.best
        rest = eta[:, None] - self.design[:, :k] @ held.T
        others, *_ = np.linalg.lstsq(self.design[:, k:], rest, rcond=None)
        return np.hstack([held, others.T])


def profile_interval(fit: FirthFit, weights: npt.ArrayLike, level: float = 0.95) -> ProfileInterval:
    """Give a contrast of coefficients with its profile penalised likelihood interval and test.

    Parameters
    ----------
    fit : FirthFit
        A converged fit.
    weights : array_like, shape (p,)
        The contrast; a single coefficient is a row with one 1.
    level : float
        Two-sided confidence.

    Notes
    -----
    Heinze & Schemper (2002), Statist. Med. 21, 2409-2419: the values at which twice the penalised
    likelihood lies within the chi-squared quantile of its top. The profile can have several local
    maxima under separation, so every point is climbed from four starts.
    """
    profile = _Profile(fit, weights)
    if profile.contrasts != 1:
        raise ValueError("an interval takes one contrast; use penalised_test for several")
    row = np.ravel(np.asarray(weights, float))
    value = float(profile.best[0])
    error = float(np.sqrt(row @ fit.covariance @ row))
    drop = float(chdtri(1, 1 - check_level(level)))

    def excess(at: Array) -> Array:
        return np.asarray(2 * (profile.top - profile.at(at[:, None])) - drop)

    outer = _outside(excess, value, error)
    inner = np.full(2, value)
    low, high = (float(limit) for limit in find_root(excess, inner, outer))
    statistic = max(0.0, 2 * (profile.top - float(profile.at(np.zeros((1, 1)))[0])))
    return ProfileInterval(
        value=value,
        low=low,
        high=high,
        level=level,
        error=error,
        statistic=statistic,
        p=float(chdtrc(1, statistic)),
        method="profile penalised likelihood (Firth)",
    )


def _outside(excess: Callable[[Array], Array], value: float, error: float) -> Array:
    """Give a point beyond each limit, by doubling the distance."""
    distance = 2 * error * np.array([-1.0, 1.0])
    for _ in range(_MOST_DOUBLINGS):
        inside = excess(value + distance) < 0
        if not inside.any():
            break
        distance = np.where(inside, 2 * distance, distance)
    return np.asarray(value + distance)


def penalised_test(fit: FirthFit, weights: npt.ArrayLike) -> PenalisedTest:
    """Test by penalised likelihood ratio that one or several contrasts are zero.

    Parameters
    ----------
    fit : FirthFit
        A converged fit.
    weights : array_like, shape (p,) or (contrasts, p)
        The contrasts, one a row, independent of each other.

    Notes
    -----
    Heinze & Schemper (2002); the penalty is that of the full design in both fits.
    """
    profile = _Profile(fit, weights)
    df = profile.contrasts
    held = profile.at(np.zeros((1, df)))
    statistic = max(0.0, 2 * (profile.top - float(held[0])))
    return PenalisedTest(
        statistic=statistic,
        df=df,
        p=float(chdtrc(df, statistic)),
        method="penalised likelihood ratio (Firth)",
    )
