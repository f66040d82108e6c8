"""What the model leaves of each unit, and how much the answer hangs on each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from analyses.fit_again import fit_again
from analyses.models.linear.arrays import Array, FitError, Flags
from analyses.unit import UnitStory
from analyses.yields import STARTED, yield_sample
from trials.records import Records

if TYPE_CHECKING:
    from analyses.comparison import Sample
    from analyses.models.mixed import MixedFit

__all__ = ["MOST_TRIED", "Influence", "LeftOut", "UnitLeft", "left_out", "unit_residuals"]

MOST_TRIED = 30
"""Units left out one by one: those with the largest residuals."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """The differences when one unit that counts is left out.

    Parameters
    ----------
    name : str
        Code on its label, or the name of its batch where batches are what counts.
    treatment : str
        Code of its treatment.
    differences_g : tuple of float
        For each treatment beside the control, in the order of the plan: less the control.
    """

    name: str
    treatment: str
    differences_g: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Influence:
    """How much the differences hang on single units.

    Parameters
    ----------
    whole_g : tuple of float
        The differences with all units, in the order of the plan.
    units : tuple of LeftOut
        The one that moves a difference most first. Of single units those with the largest
        residuals are tried, of batches every one.
    """

    whole_g: tuple[float, ...]
    units: tuple[LeftOut, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitLeft:
    """One unit as the model of the yield per unit started sees it.

    Parameters
    ----------
    code, treatment : str
        Code on its label, and of its treatment.
    grams : float
        What it gave.
    fitted_g : float
        What the model says, random effects and all.
    residual_g : float
        What is left.
    scaled : float
        The residual over the root of the residual variance.
    score : float
        Where a normal distribution would put it: the normal quantile of (i - 3/8) / (n + 1/4)
        (Blom 1958, Statistical Estimates and Transformed Beta-Variables).
    """

    code: str
    treatment: str
    grams: float
    fitted_g: float
    residual_g: float
    scaled: float
    score: float


def unit_residuals(records: Records, unit: UnitStory) -> tuple[UnitLeft, ...]:
    """Give what the model of the yield per unit started leaves of each unit.

    Parameters
    ----------
    records : Records
    unit : UnitStory

    Returns
    -------
    tuple of UnitLeft
        In the order of the layout; empty where the model cannot be fitted.
    """
    sample = yield_sample(records, unit, STARTED)
    fit = fit_again(sample)
    if fit is None or fit.rows < 4 or not fit.variances["residual"] > 0:
        return ()
    left, fitted = fit.residuals(), fit.fitted()
    spread, scores = float(np.sqrt(fit.variances["residual"])), _normal_scores(left)
    codes = records.bags.loc[sample.frame.index, "code"]
    rows = zip(
        codes, sample.frame["treatment"], sample.frame["response"], fitted, left, scores,
        strict=True,
    )  # fmt: skip
    return tuple(
        UnitLeft(
            code=str(code), treatment=str(treatment), grams=float(grams), fitted_g=float(middle),
            residual_g=float(rest), scaled=float(rest) / spread, score=float(score),
        )
        for code, treatment, grams, middle, rest, score in rows
    )  # fmt: skip


def left_out(records: Records, unit: UnitStory) -> Influence | None:
    """Give the differences in yield per unit started without each unit that counts.

    Parameters
    ----------
    records : Records
    unit : UnitStory

    Returns
    -------
    Influence or None
        None where nothing can be compared.
    """
    sample = yield_sample(records, unit, STARTED)
    control, others = records.trial.control.code, [one.code for one in records.trial.challengers]
    fit = fit_again(sample)
    whole = _differences(fit, control, others)
    if fit is None or not whole:
        return None
    tried = []
    for name, treatment, rows in _candidates(sample, records, fit):
        differences = _differences(
            fit_again(replace(sample, frame=sample.frame[~rows])), control, others
        )
        if differences:
            tried.append(LeftOut(name=name, treatment=treatment, differences_g=differences))
    tried.sort(key=lambda one: -_moved(one.differences_g, whole))
    return Influence(whole_g=whole, units=tuple(tried))


def _moved(after: tuple[float, ...], before: tuple[float, ...]) -> float:
    return max(abs(one - other) for one, other in zip(after, before, strict=True))


def _candidates(
    sample: Sample, records: Records, whole: MixedFit
) -> Iterator[tuple[str, str, Flags]]:
    frame = sample.frame
    treatments = frame["treatment"].to_numpy()
    if sample.counted == "batch":
        batches = frame["batch"].to_numpy()
        for name in dict.fromkeys(batches):
            rows = np.asarray(batches == name)
            yield str(name), str(treatments[rows][0]), rows
        return
    codes = records.bags.loc[frame.index, "code"].to_numpy()
    for at in np.argsort(-np.abs(whole.residuals()), kind="stable")[:MOST_TRIED]:
        yield str(codes[at]), str(treatments[at]), np.arange(len(frame)) == at


def _normal_scores(left: Array) -> Array:
    from scipy.special import ndtri

    rank = np.empty(len(left))
    rank[np.argsort(left, kind="stable")] = np.arange(1, len(left) + 1)
    return np.asarray(ndtri((rank - 0.375) / (len(left) + 0.25)))


def _differences(fit: MixedFit | None, control: str, others: Sequence[str]) -> tuple[float, ...]:
    """Read the differences off a fit; empty where it lacks a treatment."""
    if fit is None:
        return ()
    try:
        rows = fit.basis.rows({"treatment": [control, *others]})
    except FitError:
        return ()
    return tuple(float(one) for one in (rows[1:] - rows[:1]) @ fit.coefficients)
