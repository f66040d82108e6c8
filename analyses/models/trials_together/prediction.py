"""What one more trial should be expected to show, told honestly from few trials."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyses.models.counts.one_share import check_level
from analyses.models.trials_together.heterogeneity import q_statistic, weighed

__all__ = [
    "Drawn",
    "Prediction",
    "draw_between_variance",
    "draw_one_more",
    "draw_together",
    "predict_one_more",
]

Array: TypeAlias = npt.NDArray[np.float64]

_DRAWS, _CHI = 50_000, 2_000_000
_AT_A_TIME = 4_000_000
"""Numbers held at once while drawing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """What one more trial may show.

    Attributes
    ----------
    low, high : float
        What its effect should be expected to lie between, in the unit of the estimates.
    level : float
        Two-sided confidence.
    draws : ndarray, shape (draws,)
        The predictive distribution behind chances, in ascending order: drawn carefully, as
        `draw_one_more` says; the limits are not, since so they hold most nearly as often as they
        should.
    """

    low: float
    high: float
    level: float
    draws: Array

    def chance_above(self, threshold: float) -> float:
        """Give the chance that the effect in one more trial exceeds a threshold."""
        below = np.searchsorted(self.draws, threshold, side="right")
        return float(1 - below / len(self.draws))


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """Each trial's effect drawn towards the average of all, the doubt about how far told.

    Attributes
    ----------
    values, lows, highs : ndarray, shape (trials,)
        In the unit of the estimates.
    own_share : ndarray, shape (trials,)
        How much of each value is the trial's own estimate, between 0 and 1.
    """

    values: Array
    lows: Array
    highs: Array
    own_share: Array


def draw_between_variance(
    estimates: Array, variances: Array, draws: int, generator: np.random.Generator
) -> Array:
    """Draw from the confidence distribution of the variance between trials.

    Parameters
    ----------
    estimates, variances : ndarray, shape (trials,)
        Each trial's estimate and its squared standard error.
    draws : int
        How many.
    generator : numpy.random.Generator

    Returns
    -------
    ndarray, shape (draws,)
        Unit of the estimates squared; 0 wherever chance alone would have given such a spread.

    Notes
    -----
    Cochran's Q is distributed as the sum of independent chi-squared variables c_j, each times
    1 + tau2 e_j (Biggerstaff & Jackson 2008, Statist. Med. 27, 6093-6110); e_j are the eigenvalues
    of U' W U, W the inverse variances and U an orthonormal basis of what is orthogonal to their
    roots. So each draw of the c_j has one tau2 that gives the Q that was seen.
    """
    y, v = estimates, variances
    root = np.sqrt(1 / v)
    basis = np.linalg.qr(np.column_stack([root, np.eye(len(v))[:, 1:]]))[0][:, 1:]
    growth = np.linalg.eigvalsh(basis.T @ (basis / v[:, None]))
    chi = generator.chisquare(1, (draws, len(v) - 1))
    seen = float(q_statistic(y, v, np.asarray(0.0)))
    return np.asarray(np.maximum(0.0, (seen - chi.sum(axis=1)) / (chi @ growth)))


def draw_one_more(
    estimates: npt.ArrayLike,
    variances: npt.ArrayLike,
    draws: int,
    generator: np.random.Generator,
    *,
    careful: bool = False,
) -> Array:
    """Draw from the predictive distribution of the effect in one more trial.

    Parameters
    ----------
    estimates, variances : array_like, shape (trials,)
        Each trial's estimate and its squared standard error.
    draws : int
        How many.
    generator : numpy.random.Generator
    careful : bool
        Never let the error of the average be smaller than chance within the trials makes it, in
        the spirit of Knapp & Hartung (2003, Statist. Med. 22, 2693-2710): trials that happen to
        agree then promise no more than they can.

    Returns
    -------
    ndarray, shape (draws,)

    Notes
    -----
    Nagashima, Noma & Furukawa (2019), Statist. Methods Med. Res. 28, 1689-1702: the average at a
    drawn variance between trials, a normal deviation of that variance, and a t deviation on trials
    less one of the Hartung-Knapp error of that average.
    """
    y, v = np.asarray(estimates, float), np.asarray(variances, float)
    k = len(y)
    tau2 = draw_between_variance(y, v, draws, generator)
    value, error = np.empty(draws), np.empty(draws)
    step = max(1, _AT_A_TIME // k)
    for start in range(0, draws, step):
        part = slice(start, start + step)
        value[part], error[part] = _averages(y, v, tau2[part], careful=careful)
    normal, student = generator.standard_normal(draws), generator.standard_t(k - 1, draws)
    return np.asarray(value + np.sqrt(tau2) * normal - error * student)


def _averages(y: Array, v: Array, tau2: Array, *, careful: bool) -> tuple[Array, Array]:
    """Give the average at each variance between trials, and its error."""
    weight, average = weighed(y, v, tau2)
    off = (weight * (y - average[:, None]) ** 2).sum(axis=-1) / (len(y) - 1)
    by_chance = 1 / (1 / v).sum() if careful else 0.0
    return average, np.sqrt(np.maximum(off / weight.sum(axis=-1), by_chance))


def predict_one_more(
    estimates: npt.ArrayLike,
    variances: npt.ArrayLike,
    *,
    seed: int,
    level: float = 0.95,
    draws: int | None = None,
) -> Prediction:
    """Say between what the effect in one more trial should be expected to lie.

    Parameters
    ----------
    estimates, variances : array_like, shape (trials,)
        Each trial's estimate and its squared standard error; two trials or more.
    seed : int
        Of the draws.
    level : float
        Two-sided confidence.
    draws : int, optional
        How many; otherwise 50,000, and fewer where there are more than forty trials.

    Notes
    -----
    How often it holds what it should is measured in tests/calibration/RESULTS.md.

    Examples
    --------
    >>> found = predict_one_more([0.2, 0.5, 0.1, 0.4], [0.01, 0.02, 0.015, 0.012], seed=1)
    >>> found.low < 0.3 < found.high, found.chance_above(0) > 0.8
    (True, True)
    """
    tail = (1 - check_level(level)) / 2
    if np.asarray(estimates).shape[0] < 2:
        raise ValueError("a prediction needs at least two trials")
    count = min(_DRAWS, _CHI // np.asarray(estimates).shape[0]) if draws is None else draws
    plain, careful = (
        draw_one_more(estimates, variances, count, np.random.default_rng(seed), careful=each)
        for each in (False, True)
    )
    low, high = np.quantile(plain, [tail, 1 - tail])
    return Prediction(low=float(low), high=float(high), level=level, draws=np.sort(careful))


def draw_together(
    estimates: npt.ArrayLike,
    variances: npt.ArrayLike,
    *,
    seed: int,
    level: float = 0.95,
    draws: int | None = None,
) -> Drawn:
    """Draw each trial's effect towards the average of all, the less so the surer its own is.

    Parameters
    ----------
    estimates, variances : array_like, shape (trials,)
        Each trial's estimate and its squared standard error; two trials or more.
    seed : int
        Of the draws.
    level : float
        Two-sided confidence of each.
    draws : int, optional
        How many; otherwise 20,000, and fewer where there are more than forty trials.

    Notes
    -----
    Empirical Bayes prediction (Raudenbush & Bryk 1985, J. Educ. Statist. 10, 75-98), mixed over
    the confidence distribution of the variance between trials as `draw_one_more` is, carefully,
    since at one best variance, often zero, it is too sure of itself.
    """
    y, v = np.asarray(estimates, float), np.asarray(variances, float)
    tail, k = (1 - check_level(level)) / 2, len(y)
    count = min(20_000, 800_000 // k) if draws is None else draws
    generator = np.random.default_rng(seed)
    tau2 = draw_between_variance(y, v, count, generator)
    average, error = _averages(y, v, tau2, careful=True)
    own = tau2[:, None] / (tau2[:, None] + v)
    middle = own * y + (1 - own) * average[:, None]
    student = generator.standard_t(k - 1, (count, 1)) * error[:, None]
    normal = generator.standard_normal((count, k)) * np.sqrt(own * v)
    low, high = np.quantile(middle + normal + (1 - own) * student, [tail, 1 - tail], axis=0)
    return Drawn(values=middle.mean(axis=0), lows=low, highs=high, own_share=own.mean(axis=0))
