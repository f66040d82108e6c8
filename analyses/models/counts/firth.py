"""Logistic regression with Firth's penalty, one trial or many trials of one design at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import expit

__all__ = ["FirthFit", "FirthFits", "check_design", "climb", "fit_firth", "fit_firth_many"]

Array: TypeAlias = npt.NDArray[np.float64]

_MOST_STEPS = 60
_MOST_HALVINGS = 20
_SMALL = 1e-10
_LONGEST = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FirthFit:
    """A penalised logistic fit.

    Attributes
    ----------
    coefficients : ndarray, shape (p,)
        Log odds (ratios).
    covariance : ndarray, shape (p, p)
        Inverse of the Fisher information at the estimate, log odds squared.
    loglik : float
        Penalised log likelihood, without the binomial coefficients.
    design : ndarray, shape (n, p)
    events, totals : ndarray, shape (n,)
        The data: units with the event and units in all, row by row.
    converged : bool
        Whether the search ended at a maximum; if not, the numbers are nan.
    """

    coefficients: Array
    covariance: Array
    loglik: float
    design: Array
    events: Array
    totals: Array
    converged: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class FirthFits:
    """Penalised logistic fits of many trials.

    Attributes
    ----------
    coefficients : ndarray, shape (trials, p)
    covariances : ndarray, shape (trials, p, p)
    loglik : ndarray, shape (trials,)
        As in `FirthFit`; nan where a search did not end at a maximum.
    converged : ndarray of bool, shape (trials,)
    """

    coefficients: Array
    covariances: Array
    loglik: Array
    converged: npt.NDArray[np.bool_]


def check_design(
    design: npt.ArrayLike, events: npt.ArrayLike, totals: npt.ArrayLike | None
) -> tuple[Array, Array, Array]:
    """Give design, events and totals as arrays, or raise ValueError when they do not fit.

    Parameters
    ----------
    design : array_like, shape (n, p)
        Full rank.
    events : array_like, shape (..., n)
        Units with the event.
    totals : array_like, shape (..., n), optional
        Units in all; 1 when not given. Rows with 0 units take no part.
    """
    X = np.atleast_2d(np.asarray(design, float))
    y = np.atleast_1d(np.asarray(events, float))
    m = np.broadcast_to(np.asarray(1.0 if totals is None else totals, float), y.shape)
    if y.shape[-1] != X.shape[0]:
        raise ValueError(f"{X.shape[0]} rows in the design but {y.shape[-1]} counts")
    if np.any((y < 0) | (y > m)) or not np.isfinite(X).all():
        raise ValueError("events must lie between 0 and the totals, and the design be finite")
    if np.linalg.matrix_rank(X) < X.shape[1]:
        raise ValueError("the columns of the design depend on each other")
    return X, y, np.array(m)


class _Curve:
    """The penalised likelihood on one design: value, slope and curvature for many trials."""

    def __init__(self, design: Array) -> None:
        n, p = design.shape
        self.design = design
        self.pairs = (design[:, :, None] * design[:, None, :]).reshape(n, p * p)
        self.triples = (self.pairs[:, :, None] * design[:, None, :]).reshape(n, p**3)

    def value(self, beta: Array, y: Array, m: Array) -> Array:
        """Give the log likelihood plus half the log determinant of the information."""
        eta = beta @ self.design.T
        loglik = (y * eta - m * np.logaddexp(0, eta)).sum(axis=-1)
        share = expit(eta)
        sign, logdet = np.linalg.slogdet(self._matrix(m * share * (1 - share)))
        return np.asarray(np.where(sign > 0, loglik + 0.5 * logdet, -np.inf))

    def _matrix(self, weights: Array) -> Array:
        p = self.design.shape[1]
        return np.asarray((weights @ self.pairs).reshape(*weights.shape[:-1], p, p))

    def slopes(self, beta: Array, y: Array, m: Array) -> tuple[Array, Array, Array]:
        """Give the modified score, the information and the exact negative Hessian.

        Notes
        -----
        Firth (1993), Biometrika 80, 27-38; the score is that of Heinze & Schemper (2002), Statist.
        Med. 21, 2409-2419, equation 3.
        """
        X, p = self.design, self.design.shape[1]
        share = expit(beta @ X.T)
        weights = m * share * (1 - share)
        information = self._matrix(weights)
        inverse = np.linalg.inv(information)
        spread = (self.pairs @ inverse.reshape(*inverse.shape[:-2], p * p, 1))[..., 0]
        leverage = weights * spread
        score = (y - m * share + leverage * (0.5 - share)) @ X
        skewed = weights * (1 - 2 * share)
        tensor = (skewed @ self.triples).reshape(*skewed.shape[:-1], p, p, p)
        half = inverse[..., None, :, :] @ np.moveaxis(tensor, -1, -3)
        product = np.einsum("...rab,...sba->...rs", half, half)
        bend = self._matrix(weights * (1 - 6 * share * (1 - share)) * spread)
        return score, information, information + 0.5 * (product - bend)


def _solved(matrix: Array, slope: Array, free: Array) -> Array:
    """Solve matrix @ step = slope over the free places of each problem."""
    p = free.shape[-1]
    held = matrix * (free[:, :, None] * free[:, None, :])
    # A hair on the diagonal keeps an exactly singular curvature from raising, even one of zeros.
    hair = np.maximum(1e-12 * np.abs(held).max(axis=(-2, -1)), 1e-300)[:, None]
    held.reshape(len(held), p * p)[:, :: p + 1] += (1 - free) + hair
    return np.asarray(np.linalg.solve(held, slope[..., None])[..., 0])


def _steps(score: Array, information: Array, curvature: Array, free: Array) -> Array:
    """Give Newton steps where they climb and scoring steps elsewhere, held places left alone."""
    slope = score * free
    step = _solved(curvature, slope, free)
    falls = ~((step * slope).sum(axis=-1) > 0)
    if falls.any():
        step[falls] = _solved(information[falls], slope[falls], free[falls])
    longest = np.abs(step).max(axis=-1, keepdims=True)
    return np.asarray(step * np.minimum(1.0, _LONGEST / np.maximum(longest, 1e-300)))


def climb(
    design: Array, y: Array, m: Array, start: Array, free: Array
) -> tuple[Array, Array, npt.NDArray[np.bool_]]:
    """Climb the penalised likelihood from each start, some coefficients held where they are.

    Parameters
    ----------
    design : ndarray, shape (n, p)
    y, m : ndarray, shape (problems, n)
        Events and totals.
    start : ndarray, shape (problems, p)
    free : ndarray, shape (problems, p)
        1 where a coefficient may move, 0 where it is held.

    Returns
    -------
    beta : ndarray, shape (problems, p)
    loglik : ndarray, shape (problems,)
    converged : ndarray of bool, shape (problems,)
    """
    curve, scale = _Curve(design), np.abs(design).max(axis=0)
    beta = np.array(start, float)
    loglik = curve.value(beta, y, m)
    converged = np.zeros(len(beta), bool)
    live = np.flatnonzero(np.isfinite(loglik))
    for _ in range(_MOST_STEPS):
        if live.size == 0:
            break
        at, yy, mm = beta[live], y[live], m[live]
        step = _steps(*curve.slopes(at, yy, mm), free[live])
        new, value = _uphill(curve, at, step, yy, mm, loglik[live])
        moved = np.abs((new - at) * scale).max(axis=-1)
        beta[live], loglik[live] = new, value
        small = np.abs(step * scale).max(axis=-1) < _SMALL * (1 + np.abs(at * scale).max(axis=-1))
        stuck = moved == 0
        # A step that no halving could turn uphill is the last word of rounding, if it is small.
        nearly = stuck & (np.abs(step * scale).max(axis=-1) < 1e-5)
        converged[live] = small | nearly
        live = live[~(small | stuck)]
    return beta, loglik, converged


def _uphill(
    curve: _Curve, at: Array, step: Array, y: Array, m: Array, before: Array
) -> tuple[Array, Array]:
    new = at + step
    value = curve.value(new, y, m)
    for _ in range(_MOST_HALVINGS):
        worse = ~(value >= before - 1e-12 * np.abs(before))
        if not worse.any():
            return new, value
        step = np.where(worse[:, None], step / 2, step)
        new = np.where(worse[:, None], at + step, new)
        value[worse] = curve.value(new[worse], y[worse], m[worse])
    worse = ~(value >= before)
    return np.where(worse[:, None], at, new), np.where(worse, before, value)


def _start(design: Array, y: Array, m: Array) -> Array:
    """Give weighted least squares of the logits with half a unit more on either side.

    The weights are those of Woolf (1955, Ann. Hum. Genet. 19, 251-253), the halves those of
    Haldane (1956, Ann. Hum. Genet. 20, 309-311); no count is then without a logit.
    """
    p = design.shape[1]
    happened, spared = y + 0.5, m - y + 0.5
    weights = np.where(m > 0, happened * spared / (happened + spared), 0.0)
    right = (weights * np.log(happened / spared)) @ design
    return _solved(_Curve(design)._matrix(weights), right, np.ones((len(y), p)))


def fit_firth_many(
    design: npt.ArrayLike, events: npt.ArrayLike, totals: npt.ArrayLike | None = None
) -> FirthFits:
    """Fit a penalised logistic model to many trials of one design.

    Parameters
    ----------
    design : array_like, shape (n, p)
        Full rank; one row a unit, or one row a group of like units.
    events : array_like, shape (trials, n)
        Units with the event.
    totals : array_like, shape (trials, n) or (n,), optional
        Units in all; 1 when not given.

    Notes
    -----
    Firth (1993), Biometrika 80, 27-38: the score less its first-order bias, here by Newton's
    method with the exact curvature of the penalised likelihood, all trials together. The
    estimates exist whatever the separation. There is no Firth fit in statsmodels.
    """
    X, y, m = check_design(design, np.atleast_2d(np.asarray(events, float)), totals)
    trials, p = len(y), X.shape[1]
    beta, loglik, converged = climb(X, y, m, _start(X, y, m), np.ones((trials, p)))
    share = expit(beta @ X.T)
    information = _Curve(X)._matrix(m * share * (1 - share))
    lost = ~converged
    information[lost] = np.eye(p)
    covariances: Array = np.asarray(np.linalg.inv(information), float)
    beta[lost], loglik[lost], covariances[lost] = np.nan, np.nan, np.nan
    return FirthFits(coefficients=beta, covariances=covariances, loglik=loglik, converged=converged)


def fit_firth(
    design: npt.ArrayLike, events: npt.ArrayLike, totals: npt.ArrayLike | None = None
) -> FirthFit:
    """Fit a penalised logistic model to one trial.

    Parameters
    ----------
    design : array_like, shape (n, p)
        Full rank; one row a unit, or one row a group of like units.
    events : array_like, shape (n,)
        Units with the event.
    totals : array_like, shape (n,), optional
        Units in all; 1 when not given.

    Notes
    -----
    Firth (1993), Biometrika 80, 27-38; Heinze & Schemper (2002), Statist. Med. 21, 2409-2419.

    Examples
    --------
    None of 20 bags lost against 5 of 20: the odds ratio stays finite.

    >>> fit = fit_firth([[1, 0], [1, 1]], [0, 5], [20, 20])
    >>> round(float(fit.coefficients[1]), 2)
    2.68
    """
    X, y, m = check_design(design, events, totals)
    fits = fit_firth_many(X, y[None], m[None])
    return FirthFit(
        coefficients=fits.coefficients[0],
        covariance=fits.covariances[0],
        loglik=float(fits.loglik[0]),
        design=X,
        events=y,
        totals=m,
        converged=bool(fits.converged[0]),
    )
