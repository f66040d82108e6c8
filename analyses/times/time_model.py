"""Days to a stage by an accelerated failure time model, treatments against the control."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from analyses.models.linear.student import t_quantile, t_two_sided
from analyses.models.numerics.growth import grown, rise
from analyses.models.times.accelerated import AcceleratedFit, fit_accelerated
from analyses.models.times.time_ratios import likelihood_ratio, time_ratio
from analyses.models.times.time_shapes import SHAPES, Shape
from analyses.times.stage_times import TimeCompared

__all__ = [
    "MOST_BLOCKS",
    "DayDifference",
    "TimeModel",
    "compared_times",
    "day_difference",
    "fit_times",
    "median",
]

Array: TypeAlias = npt.NDArray[np.float64]

MOST_BLOCKS = 200
"""Blocks that may each have a level of their own in the times."""

_MANY = 5_000  # units from which those alike are counted in one row


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeModel:
    """An accelerated fit with the places of the treatments in it.

    Parameters
    ----------
    fit : AcceleratedFit
    codes : list of str
        The control first.
    design : ndarray, shape (rows, columns)
        Of the rows counted.
    blocks : bool
        Whether blocks are in it, as fixed effects that sum to zero.
    frame : pandas.DataFrame
        Rows used, one a unit.
    counted : pandas.DataFrame
        The same with those that are alike in one row, and how many in the column units.
    """

    fit: AcceleratedFit
    codes: list[str]
    design: Array
    blocks: bool
    frame: pd.DataFrame
    counted: pd.DataFrame

    @property
    def df(self) -> float:
        """Units seen less coefficients."""
        return self.fit.seen - len(self.fit.coefficients)

    def row(self, code: str) -> Array:
        """Give the weights of a treatment's mean log time in an average block."""
        row = np.zeros(len(self.fit.coefficients))
        row[0] = 1.0
        if code != self.codes[0]:
            row[self.codes.index(code)] = 1.0
        return row


@dataclass(frozen=True, slots=True, kw_only=True)
class DayDifference:
    """A difference of median days, and the ratio of times in per cent, with t inference."""

    value: float
    low: float
    high: float
    p: float
    df: float
    percent: tuple[float, float, float]


def fit_times(
    frame: pd.DataFrame, codes: list[str], *, shape: Shape = "lognormal", blocks: bool = True
) -> TimeModel | None:
    """Fit log time = treatment + block to days known between looks.

    Parameters
    ----------
    frame : pandas.DataFrame
        Columns treatment, block, left, right, as `stage_looks` gives them.
    codes : list of str
        Treatments, the control first.
    shape : {"lognormal", "weibull"}
    blocks : bool
        Whether to try with blocks; they are left out where the fit does not settle with them, and
        where there are more than `MOST_BLOCKS`.

    Returns
    -------
    TimeModel or None
        None where no fit settles.
    """
    used = frame[frame["treatment"].isin(codes)]
    seen = used[~((used["left"] == 0) & np.isinf(used["right"]))]
    used = _counted(seen)
    own = [(used["treatment"] == code).to_numpy(float) for code in codes[1:]]
    plain = np.column_stack([np.ones(len(used)), *own])
    tried = [(plain, False)]
    names = sorted(used["block"].unique())
    if blocks and 1 < len(names) <= MOST_BLOCKS:
        marks = (used["block"].to_numpy()[:, None] == np.array(names)).astype(float)
        tried.insert(0, (np.column_stack([plain, marks[:, :-1] - marks[:, -1:]]), True))
    for design, with_blocks in tried:
        try:
            fit = fit_accelerated(design, used["left"], used["right"], shape=shape,
                                  weight=used["units"])  # fmt: skip
        except (ValueError, np.linalg.LinAlgError):
            continue
        model = TimeModel(
            fit=fit, codes=codes, design=np.asarray(design, float), blocks=with_blocks,
            frame=seen, counted=used,
        )  # fmt: skip
        if fit.converged and model.df >= 1 and fit.scale > 1e-6:
            return model
    return None


def _counted(frame: pd.DataFrame) -> pd.DataFrame:
    """Count the units alike in treatment, block and days, where there are many, in `units`."""
    if len(frame) <= _MANY:
        return frame.assign(units=1.0)
    alike = ["treatment", "block", "left", "right"]
    return frame.groupby(alike, sort=False, observed=True).size().reset_index(name="units")


def _widened(model: TimeModel, row: Array) -> float:
    """Give a standard error of a function of log times and log scale, for small samples.

    Maximum likelihood divides by the units seen; dividing by what is left after the coefficients
    makes the t interval exact for uncensored log-normal times (Lawless 2003, Statistical Models
    and Methods for Lifetime Data, 2nd ed., section 5.3).
    """
    stretch = model.fit.seen / model.df
    return float(np.sqrt(row @ model.fit.covariance @ row * stretch))


def median(model: TimeModel, code: str, level: float) -> tuple[float, float, float]:
    """Give the day by which half of the units of a treatment reach the stage, with its range.

    Parameters
    ----------
    model : TimeModel
    code : str
    level : float
        Confidence.
    """
    z = SHAPES[model.fit.shape].quantile(0.5)
    row = np.append(model.row(code), z * model.fit.scale)
    middle = float(model.row(code) @ model.fit.coefficients) + z * model.fit.scale
    half = float(t_quantile((1 + level) / 2, model.df)) * _widened(model, row)
    return grown(middle), grown(middle - half), grown(middle + half)


def day_difference(model: TimeModel, code: str, level: float) -> DayDifference:
    """Compare the median day of a treatment with the control's.

    Parameters
    ----------
    model : TimeModel
    code : str
    level : float
        Confidence.

    Notes
    -----
    Delta method for the difference in days, t with the units seen less the coefficients as degrees
    of freedom; the ratio of times by the same t on the log scale.
    """
    control = model.codes[0]
    mine, base = (median(model, one, level)[0] for one in (code, control))
    z = SHAPES[model.fit.shape].quantile(0.5) * model.fit.scale
    gradient = mine * np.append(model.row(code), z) - base * np.append(model.row(control), z)
    error, wide = _widened(model, gradient), float(t_quantile((1 + level) / 2, model.df))
    value = mine - base
    lean = np.append(model.row(code) - model.row(control), 0.0)
    log_ratio, log_error = float(lean[:-1] @ model.fit.coefficients), _widened(model, lean)
    ends = (log_ratio, log_ratio - wide * log_error, log_ratio + wide * log_error)
    return DayDifference(
        value=value,
        low=value - wide * error,
        high=value + wide * error,
        p=float(t_two_sided(np.array(value / error), np.array(model.df))),
        df=model.df,
        percent=(rise(ends[0]), rise(ends[1]), rise(ends[2])),
    )


def compared_times(model: TimeModel, level: float) -> tuple[TimeCompared, ...]:
    """Give the ratio of times of each treatment, with Wald's limits and likelihood ratio.

    Parameters
    ----------
    model : TimeModel
    level : float
        Confidence.
    """
    told = []
    rows = model.counted
    looks = rows["left"], rows["right"]
    for place, code in enumerate(model.codes[1:], start=1):
        weights = np.zeros(len(model.fit.coefficients))
        weights[place] = 1.0
        found = time_ratio(model.fit, weights, level)
        less = fit_accelerated(np.delete(model.design, place, axis=1), *looks,
                               shape=model.fit.shape, weight=rows["units"])  # fmt: skip
        test = likelihood_ratio(model.fit, less) if less.converged else None
        told.append(
            TimeCompared(
                treatment=code, control=model.codes[0], shape=model.fit.shape, ratio=found.value,
                low=found.low, high=found.high, log_ratio=float(np.log(found.value)),
                error=found.error, statistic=test.statistic if test else float("nan"),
                p=test.p if test else float("nan"),
            )
        )  # fmt: skip
    return tuple(told)
