"""The variance of an effect between trials, for one set of trials or many sets at once."""

from __future__ import annotations

from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import chdtri

from analyses.models.counts.one_share import check_level
from analyses.models.numerics.bracketing import find_root

__all__ = ["Spread", "between_variance", "q_profile", "q_statistic", "weighed"]

Array: TypeAlias = npt.NDArray[np.float64]
Spread: TypeAlias = Literal["FE", "DL", "PM", "ML", "REML"]

_GRID = 120


def weighed(y: Array, v: Array, tau2: Array) -> tuple[Array, Array]:
    """Give the weights and the weighted mean at a variance between trials.

    Parameters
    ----------
    y, v : ndarray, shape (..., trials)
        Estimates and their variances.
    tau2 : ndarray, shape (...)
        Variance between trials.

    Returns
    -------
    weight : ndarray, shape (..., trials)
    mean : ndarray, shape (...)
    """
    weight = 1 / (v + tau2[..., None])
    return weight, np.asarray((weight * y).sum(axis=-1) / weight.sum(axis=-1))


def q_statistic(y: Array, v: Array, tau2: Array) -> Array:
    """Give the weighted spread about the mean; at tau2 = 0 it is Cochran's Q.

    Parameters
    ----------
    y, v : ndarray, shape (..., trials)
        Estimates and their variances.
    tau2 : ndarray, shape (...)
        Variance between trials.
    """
    weight, mean = weighed(y, v, tau2)
    return np.asarray((weight * (y - mean[..., None]) ** 2).sum(axis=-1))


def _largest(y: Array, v: Array, least: float) -> Array:
    """Give a variance between trials so large that Q lies below a value."""
    spread = ((y - y.mean(axis=-1, keepdims=True)) ** 2).sum(axis=-1)
    return np.asarray(spread / least + v.max(axis=-1))


def _where_q_is(y: Array, v: Array, target: float) -> Array:
    """Give the variance at which Q has a value, 0 where it is below it already."""
    at_zero = q_statistic(y, v, np.zeros(y.shape[:-1]))
    high = _largest(y, v, target)
    root = find_root(lambda tau2: q_statistic(y, v, tau2) - target, np.zeros_like(high), high)
    return np.where(at_zero <= target, 0.0, root)


def _der_simonian_laird(y: Array, v: Array) -> Array:
    w = 1 / v
    q = q_statistic(y, v, np.zeros(y.shape[:-1]))
    total = w.sum(axis=-1)
    below = total - (w**2).sum(axis=-1) / total
    return np.asarray(np.maximum(0.0, (q - (y.shape[-1] - 1)) / below))


def _loglik(y: Array, v: Array, tau2: Array, *, restricted: bool) -> Array:
    weight, mean = weighed(y, v, tau2)
    off = (weight * (y - mean[..., None]) ** 2).sum(axis=-1)
    value = 0.5 * (np.log(weight).sum(axis=-1) - off)
    return np.asarray(value - (0.5 * np.log(weight.sum(axis=-1)) if restricted else 0.0))


def _score(y: Array, v: Array, tau2: Array, *, restricted: bool) -> Array:
    weight, mean = weighed(y, v, tau2)
    off = (weight**2 * (y - mean[..., None]) ** 2).sum(axis=-1)
    lost = (weight**2).sum(axis=-1) / weight.sum(axis=-1) if restricted else 0.0
    return np.asarray(off - weight.sum(axis=-1) + lost)


def _most_likely(y: Array, v: Array, *, restricted: bool) -> Array:
    """Give the best variance: the likelihood on a grid, then the root of its slope nearby."""
    top = _largest(y, v, 1.0)
    steps = np.concatenate([[0.0], np.geomspace(1e-7, 1.0, _GRID)])
    values = np.stack([_loglik(y, v, step * top, restricted=restricted) for step in steps])
    best = values.argmax(axis=0)
    low = steps[np.maximum(best - 1, 0)] * top
    high = steps[np.minimum(best + 1, _GRID)] * top
    root = find_root(lambda tau2: _score(y, v, tau2, restricted=restricted), low, high)
    falls = _score(y, v, np.zeros_like(top), restricted=restricted) <= 0
    return np.where((best == 0) & falls, 0.0, root)


def between_variance(estimates: npt.ArrayLike, variances: npt.ArrayLike, spread: Spread) -> Array:
    """Give the variance of the effect between trials.

    Parameters
    ----------
    estimates, variances : array_like, shape (..., trials)
        Each trial's estimate and its squared standard error; leading axes are separate sets.
    spread : {"FE", "DL", "PM", "ML", "REML"}
        FE: held at zero. DL: DerSimonian & Laird (1986), Controlled Clinical Trials 7, 177-188.
        PM: Paule & Mandel (1982), J. Res. NBS 87, 377-385. ML and REML: (restricted) maximum
        likelihood, Viechtbauer (2005), J. Educ. Behav. Statist. 30, 261-293.

    Returns
    -------
    ndarray, shape (...)
        Unit of the estimates squared, never below zero.
    """
    y, v = (np.asarray(each, float) for each in (estimates, variances))
    y, v = (np.asarray(each, float) for each in np.broadcast_arrays(y, v))
    if spread == "FE":
        return np.zeros(y.shape[:-1])
    if spread == "DL":
        return _der_simonian_laird(y, v)
    if spread == "PM":
        return _where_q_is(y, v, y.shape[-1] - 1.0)
    if spread in ("ML", "REML"):
        return _most_likely(y, v, restricted=spread == "REML")
    raise ValueError(f"spread must be FE, DL, PM, ML or REML, got {spread!r}")


def q_profile(
    estimates: npt.ArrayLike, variances: npt.ArrayLike, level: float = 0.95
) -> tuple[Array, Array]:
    """Give Q-profile limits of the variance between trials.

    Parameters
    ----------
    estimates, variances : array_like, shape (..., trials)
        Each trial's estimate and its squared standard error.
    level : float
        Two-sided confidence.

    Notes
    -----
    Viechtbauer (2007), Statist. Med. 26, 37-52: where Q equals the chi-squared quantiles; 0 where
    it lies below them already at no variance.
    """
    y, v = (np.asarray(each, float) for each in (estimates, variances))
    tail, df = (1 - check_level(level)) / 2, y.shape[-1] - 1
    upper_point, lower_point = float(chdtri(df, tail)), float(chdtri(df, 1 - tail))
    return _where_q_is(y, v, upper_point), _where_q_is(y, v, lower_point)
