"""Which trials stand apart from the others."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import stdtr

from analyses.models.trials_together.heterogeneity import between_variance, weighed

__all__ = ["Apart", "stand_apart"]

Array: TypeAlias = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart:
    """How far each trial lies from what the others let expect.

    Attributes
    ----------
    averages, errors, tau2 : ndarray, shape (trials,)
        The average of all the others, its standard error, and the variance between them.
    away : ndarray, shape (trials,)
        The trial's estimate less that average.
    p : ndarray, shape (trials,)
        Two-sided, for a trial like the others; NaN with fewer than three trials.
    """

    averages: Array
    errors: Array
    tau2: Array
    away: Array
    p: Array


def stand_apart(estimates: npt.ArrayLike, variances: npt.ArrayLike) -> Apart:
    """Hold each trial against all the others.

    Parameters
    ----------
    estimates, variances : array_like, shape (trials,)
        Each trial's estimate and its squared standard error; two trials or more.

    Notes
    -----
    The studentised deleted residual of Viechtbauer & Cheung (2010), Research Synthesis Methods 1,
    112-125, with the variance between trials by REML, here with t on trials less two.
    """
    y, v = np.asarray(estimates, float), np.asarray(variances, float)
    k = len(y)
    others = np.array([[i for i in range(k) if i != gone] for gone in range(k)])
    ys, vs = y[others], v[others]
    tau2 = between_variance(ys, vs, "REML") if k > 2 else np.zeros(k)
    weight, average = weighed(ys, vs, tau2)
    error2 = 1 / weight.sum(axis=-1)
    away = y - average
    t = away / np.sqrt(v + tau2 + error2)
    p = 2 * stdtr(k - 2, -np.abs(t)) if k > 2 else np.full(k, np.nan)
    return Apart(averages=average, errors=np.sqrt(error2), tau2=tau2, away=away, p=np.asarray(p))
