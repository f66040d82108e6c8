"""What the days to a stage say, as plain values."""

from __future__ import annotations

from dataclasses import dataclass

from analyses.times.looks import LookGap, Stage

__all__ = ["StageTimes", "TimeCompared", "TimeCurve"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeCurve:
    """The days of one treatment.

    Parameters
    ----------
    treatment : str
        Its code.
    seen, lost, unknown : int
        Units whose day was written; lost before it; of which nothing is known.
    middle, low, high : float
        Day by which half had reached the stage, and its range; NaN where there is none.
    between : tuple of float
        The two looks between which half had reached it, by the curve alone.
    left, right, reached : tuple of float
        Pieces of the curve in days, and the share that had reached the stage after each.
    """

    treatment: str
    seen: int
    lost: int
    unknown: int
    middle: float
    low: float
    high: float
    between: tuple[float, float]
    left: tuple[float, ...]
    right: tuple[float, ...]
    reached: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeCompared:
    """How many times as long a treatment takes as the control, by one shape of the times.

    Parameters
    ----------
    treatment, control : str
        Codes.
    shape : str
        ``lognormal`` or ``weibull``.
    ratio, low, high : float
        Ratio of times; the limits by Wald, large-sample.
    log_ratio, error : float
        Of the logarithm.
    statistic, p : float
        Likelihood-ratio chi-squared on one df, and its p.
    """

    treatment: str
    control: str
    shape: str
    ratio: float
    low: float
    high: float
    log_ratio: float
    error: float
    statistic: float
    p: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StageTimes:
    """Everything about the days to one stage.

    Parameters
    ----------
    stage : str
    gap : LookGap
        How often the units were looked at.
    curves : tuple of TimeCurve
        Every treatment.
    method : str
        Of the curves.
    compared : tuple of TimeCompared
        Each against the control, by each shape.
    log_rank : tuple of (float, int, float) or None
        Chi-squared, df, p within blocks, where looks were daily.
    blocks_in_model : bool
        Whether blocks are in the accelerated model.
    """

    stage: Stage
    gap: LookGap
    curves: tuple[TimeCurve, ...]
    method: str
    compared: tuple[TimeCompared, ...]
    log_rank: tuple[float, int, float] | None
    blocks_in_model: bool
