"""Compare treatments with the control in many simulated trials by the model of `comparison`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyses.comparison import FEWEST_FOR_A_TEST, LEAST_DF
from analyses.models.batches.batched import fit_batch
from analyses.models.families.largest_batched import critical_limits

__all__ = [
    "Compared",
    "Limits",
    "Rows",
    "compare_many",
    "joined",
    "limits_of",
    "nothing_yet",
    "usable_treatments",
]

Array: TypeAlias = npt.NDArray[np.float64]
Flags: TypeAlias = npt.NDArray[np.bool_]
Index: TypeAlias = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """What the rows of every trial have in common.

    Parameters
    ----------
    treatment : array of int, shape (rows,)
        0 is the control, the others are numbered in the order of the plan.
    groups : tuple of (str, array of shape (rows,))
        Labels of the random terms, outermost first, each nested in those before it.
    clusters : array of shape (rows,) or None
        Labels of the batches, where batches count.
    """

    treatment: Index
    groups: tuple[tuple[str, Index], ...] = ()
    clusters: Index | None = None

    @property
    def treatments(self) -> int:
        """How many treatments there are, the control among them."""
        return int(self.treatment.max()) + 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Differences from the control; NaN where inference is withheld.

    Parameters
    ----------
    value, df : array, shape (challengers, trials)
        In the unit of the response.
    covariance : array, shape (challengers, challengers, trials)
        Of the differences.
    control : array, shape (trials,)
        Adjusted mean of the control; its plain mean where nothing was fitted.
    """

    value: Array
    df: Array
    covariance: Array
    control: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Intervals of the differences from the control.

    Parameters
    ----------
    value, low, high : array, shape (challengers, trials)
        In the unit of the estimate; NaN where inference is withheld.
    control : array, shape (trials,)
        Mean of the control in the same unit.
    error : float
        Largest relative error that was seen where limits were interpolated.
    """

    value: Array
    low: Array
    high: Array
    control: Array
    error: float = 0.0


def compare_many(responses: Array, rows: Rows) -> Compared:
    """Compare every treatment with the control in every trial.

    Parameters
    ----------
    responses : array, shape (rows, trials)
        NaN where there is none.
    rows : Rows

    Returns
    -------
    Compared
        As `analyses.comparison.compare` does for one trial: treatments that cannot be compared are
        left out of the fit of that trial.
    """
    usable = usable_treatments(responses, rows)
    compared = nothing_yet(responses, rows)
    patterns, which = np.unique(usable, axis=1, return_inverse=True)
    for number, pattern in enumerate(patterns.T):
        if pattern.any():
            of = np.flatnonzero(which.ravel() == number)
            _fit_pattern(responses, rows, np.flatnonzero(pattern), of, compared)
    return compared


def nothing_yet(responses: Array, rows: Rows) -> Compared:
    """Give a comparison to be filled in: only the control's plain mean is there.

    Parameters
    ----------
    responses : array, shape (rows, trials)
        NaN where there is none.
    rows : Rows
    """
    m, trials = rows.treatments - 1, responses.shape[1]
    return Compared(
        value=np.full((m, trials), np.nan),
        df=np.full((m, trials), np.nan),
        covariance=np.full((m, m, trials), np.nan),
        control=_plain_mean(responses[rows.treatment == 0]),
    )


def _plain_mean(responses: Array) -> Array:
    there = np.isfinite(responses)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.where(there, responses, 0.0).sum(axis=0) / there.sum(axis=0))


def usable_treatments(responses: Array, rows: Rows) -> Flags:
    """Say which treatments can be compared, by the rules of `analyses.comparison`.

    Parameters
    ----------
    responses : array, shape (rows, trials)
        NaN where there is none.
    rows : Rows

    Returns
    -------
    array of bool, shape (challengers, trials)
    """
    there = np.isfinite(responses)
    units, least, most = [], [], []
    for treatment in range(rows.treatments):
        mine = rows.treatment == treatment
        units.append(_units(there[mine], None if rows.clusters is None else rows.clusters[mine]))
        least.append(np.where(there[mine], responses[mine], np.inf).min(axis=0))
        most.append(np.where(there[mine], responses[mine], -np.inf).max(axis=0))
    enough = np.stack(units) >= FEWEST_FOR_A_TEST
    lowest, highest = np.stack(least), np.stack(most)
    differ = np.maximum(highest[1:], highest[0]) > np.minimum(lowest[1:], lowest[0])
    return np.asarray(enough[1:] & enough[0] & differ)


def _units(there: Flags, clusters: Index | None) -> Index:
    """Count rows, or the clusters that have any."""
    if clusters is None:
        return np.asarray(there.sum(axis=0))
    any_left = [there[clusters == one].any(axis=0) for one in np.unique(clusters)]
    return np.asarray(np.sum(any_left, axis=0))


def _fit_pattern(
    responses: Array, rows: Rows, usable: Index, of: Index, compared: Compared
) -> None:
    """Fit the trials in which just these treatments can be compared, and fill their places in."""
    k = len(usable)
    chosen = np.isin(rows.treatment, [0, *(usable + 1)])
    place = np.zeros(rows.treatments, np.intp)
    place[usable + 1] = np.arange(1, k + 1)
    identity = np.eye(k + 1)
    pairs = [(i, j) for i in range(k) for j in range(i + 1, k)]
    contrasts = np.concatenate(
        [
            identity[1:] - identity[0],
            np.array([identity[i + 1] - identity[j + 1] for i, j in pairs]).reshape(-1, k + 1),
            identity[:1],
        ]
    )
    groups: Mapping[str, Index] = {name: labels[chosen] for name, labels in rows.groups}
    design = identity[place[rows.treatment[chosen]]]
    fit = fit_batch(responses[np.ix_(chosen, of)], design, contrasts, groups)
    square = fit.standard_errors**2
    good = np.isfinite(fit.estimates[:k] + fit.standard_errors[:k] + fit.df[:k]).all(axis=0)
    done = of[good]
    compared.control[done] = fit.estimates[-1, good]
    at = np.ix_(usable, done)
    compared.value[at] = fit.estimates[:k][:, good]
    compared.df[at] = fit.df[:k][:, good]
    for i in range(k):
        compared.covariance[usable[i], usable[i], done] = square[i, good]
    for number, (i, j) in enumerate(pairs, start=k):
        shared = ((square[i] + square[j] - square[number]) / 2)[good]
        compared.covariance[usable[i], usable[j], done] = shared
        compared.covariance[usable[j], usable[i], done] = shared


def joined(parts: Sequence[Compared]) -> Compared:
    """Put the trials of several chunks behind each other."""
    return Compared(
        value=np.concatenate([part.value for part in parts], axis=-1),
        df=np.concatenate([part.df for part in parts], axis=-1),
        covariance=np.concatenate([part.covariance for part in parts], axis=-1),
        control=np.concatenate([part.control for part in parts]),
    )


def limits_of(compared: Compared, level: float, *, worst: float = np.inf) -> Limits:
    """Give intervals that hold for all comparisons of a trial together.

    Parameters
    ----------
    compared : Compared
    level : float
        Confidence.
    worst : float
        As `critical_limits` takes it.

    Returns
    -------
    Limits
        By the exact multivariate t of the treatments that are compared in that trial.
    """
    wide = np.full(compared.value.shape, np.nan)
    usable = np.isfinite(compared.value)
    error = 0.0
    patterns, which = np.unique(usable, axis=1, return_inverse=True)
    for number, pattern in enumerate(patterns.T):
        if not pattern.any():
            continue
        of, chosen = np.flatnonzero(which.ravel() == number), np.flatnonzero(pattern)
        covariance = compared.covariance[np.ix_(chosen, chosen, of)]
        limits, seen = critical_limits(
            covariance, compared.df[np.ix_(chosen, of)], level, worst=worst
        )
        wide[np.ix_(chosen, of)] = limits
        error = max(error, seen)
    half = wide * np.sqrt(np.einsum("iit->it", compared.covariance))
    half = np.where(compared.df < LEAST_DF, np.nan, half)
    return Limits(
        value=compared.value,
        low=compared.value - half,
        high=compared.value + half,
        control=compared.control,
        error=error,
    )
