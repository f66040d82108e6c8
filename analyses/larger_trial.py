"""What a larger trial of the same kind would tell: how wide the range would be."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analyses.finding import Finding
from trials.trial import Trial

__all__ = ["TIMES", "Width", "widths"]

TIMES = (1, 2, 3, 4)
"""How many times as large as this one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Width:
    """How exact a trial so many times as large would be.

    Parameters
    ----------
    times : int
        How many times as large; 1 is the trial as it was.
    units : int
        Independent units in it, as many times as were counted in this one.
    half_width : float
        Half the width of the interval to expect, in the unit of the estimate.
    df : float
        Degrees of freedom that it would have; infinite where the interval has none.
    """

    times: int
    units: int
    half_width: float
    df: float


def widths(finding: Finding, trial: Trial) -> tuple[Width, ...]:
    """Say how wide the interval of a comparison would be if the trial were repeated whole.

    Parameters
    ----------
    finding : Finding
        Its interval now.
    trial : Trial
        Its design: with blocks, more blocks are added; without, more units.

    Returns
    -------
    tuple of Width
        One for each of `TIMES`; empty where the interval now is not finite.

    Notes
    -----
    With the same variances, m repeats have 1/m of the covariance of one. The degrees of freedom
    of one are what its rows leave beside s columns that all repeats share (the treatments, and
    the overall mean where no block has its own): m repeats have m (df + s) - s. So it is in the
    classical analysis of variance of complete blocks (s = t - 1) and of a layout without blocks
    (s = t); Kenward and Roger's df equal those where units are balanced.
    """
    estimate = finding.estimate
    half = (estimate.high - estimate.low) / 2
    if estimate.withheld or not math.isfinite(half) or half <= 0:
        return ()
    now = math.inf if estimate.df is None else estimate.df
    shared = len(trial.treatments) - (1 if trial.design.block else 0)
    told = []
    for times in TIMES:
        df = times * (now + shared) - shared
        factor = _quantile(estimate.level, df) / _quantile(estimate.level, now)
        told.append(
            Width(
                times=times, units=times * estimate.units,
                half_width=half * factor / math.sqrt(times), df=df,
            )
        )  # fmt: skip
    return tuple(told)


def _quantile(level: float, df: float) -> float:
    from scipy.special import ndtri, stdtrit

    share = (1 + level) / 2
    return float(stdtrit(df, share) if math.isfinite(df) else ndtri(share))
