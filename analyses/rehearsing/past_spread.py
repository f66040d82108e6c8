"""How much a grower's own bags varied, from the records of an earlier trial."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.special import chdtri

from analyses.losses.table import arm_counts
from analyses.models.counts.one_share import clopper_pearson
from analyses.unit import unit_story
from analyses.yields import FRUITED, yield_sample
from trials.problems import Refused
from trials.records import Records

__all__ = ["PastSpread", "past_spread"]

LEVEL = 0.8
"""Confidence of the ranges: one in ten that the bags vary more than the upper end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PastSpread:
    """Variation and losses of a past trial.

    Parameters
    ----------
    mean : float
        Grams of a bag that fruited, mean of the treatments' means.
    cv, cv_low, cv_high : float
        Of bags alike in treatment, block and batch, with its 80 % range.
    df : float
        Degrees of freedom of that variance.
    cv_block, cv_batch : float
        Of blocks and batches; 0 where there were none or none was seen.
    bags : int
        Bags that it rests on.
    lost, lost_low, lost_high : float
        Share of the bags that was contaminated, with its exact 80 % range.
    """

    mean: float
    cv: float
    cv_low: float
    cv_high: float
    df: float
    cv_block: float
    cv_batch: float
    bags: int
    lost: float
    lost_low: float
    lost_high: float


def past_spread(records: Records) -> PastSpread:
    """Estimate how bags varied in a past trial.

    Parameters
    ----------
    records : Records

    Returns
    -------
    PastSpread

    Raises
    ------
    Refused
        Too few bags were weighed.

    Notes
    -----
    REML; the range of the residual variance v is v df / chi-squared on the df within treatments,
    blocks and batches, exact in balanced designs. The upper end is the safe one to plan with
    (Browne 1995, Statist. Med. 14, 1933-1940).
    """
    from analyses.models.linear.arrays import FitError
    from analyses.models.mixed import fit_mixed

    sample = yield_sample(records, unit_story(records), FRUITED)
    frame = sample.frame
    groups = sum(frame[term].nunique() - 1 for term in sample.random)
    df = len(frame) - frame["treatment"].nunique() - groups
    if len(frame) < 3 or df < 1:
        raise Refused("Too few bags were weighed there to see how bags vary.")
    try:
        fit = fit_mixed(frame, "response", "treatment", list(sample.random))
    except FitError as error:
        raise Refused(f"How bags vary cannot be read from there: {error}.") from error
    mean = float(fit.means("treatment")["mean"].mean())
    variances = fit.variances
    tail = (1 - LEVEL) / 2
    square = variances["residual"]
    low, high = (square * df / float(chdtri(df, each)) for each in (tail, 1 - tail))
    counts = arm_counts(records).values()
    lost, made = sum(one.lost for one in counts), sum(one.made for one in counts)
    share = clopper_pearson(lost, made, LEVEL)
    return PastSpread(
        mean=mean,
        cv=math.sqrt(square) / mean,
        cv_low=math.sqrt(low) / mean,
        cv_high=math.sqrt(high) / mean,
        df=float(df),
        cv_block=math.sqrt(variances.get("block", 0.0)) / mean,
        cv_batch=math.sqrt(variances.get("batch", 0.0)) / mean,
        bags=len(frame),
        lost=lost / made,
        lost_low=share.low,
        lost_high=share.high,
    )
