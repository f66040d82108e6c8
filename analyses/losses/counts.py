"""How many units of how many each treatment lost, and what share fits."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from analyses.losses.batch_limits import FEWEST_HIT
from analyses.losses.table import ArmCounts, BatchLoss, arm_counts, batch_losses
from analyses.models.counts.dispersed import dispersed_share_limits
from analyses.models.counts.one_share import clopper_pearson, wilson
from analyses.unit import UnitStory
from trials.records import Records

__all__ = ["LossCount", "loss_counts"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LossCount:
    """Units lost of units made, with the range of the share that fits.

    Parameters
    ----------
    treatment : str
        Its code.
    lost, made : int
        Contaminated units, and units whose fate is known.
    low, high : float
        Limits of the share, 0 to 1; NaN where nothing shows how much batches differ.
    level : float
        Confidence.
    method : str
        Which interval.
    batches : int
        Batches that the units come from where batches are what counts; otherwise 0.
    """

    treatment: str
    lost: int
    made: int
    low: float
    high: float
    level: float
    method: str
    batches: int = 0


def loss_counts(records: Records, unit: UnitStory, *, level: float) -> tuple[LossCount, ...]:
    """Count the contaminated units of each treatment.

    Parameters
    ----------
    records : Records
    unit : UnitStory
        Whether units or batches count.
    level : float
        Confidence.

    Returns
    -------
    tuple of LossCount
        Units by Wilson's interval (1927, JASA 22, 209-212); where none or all were lost by the
        exact one of Clopper & Pearson (1934, Biometrika 26, 404-413). Batches by
        Wilson's interval with their dispersion, for the reason given in
        `batch_limits.held_limits`; where none or all were lost by Clopper & Pearson's with each
        batch as one unit, which holds whatever the units of a batch share. Units of unknown fate
        are left out.
    """
    counts = arm_counts(records)
    if unit.counted != "batch":
        return tuple(_of_units(code, arm, level) for code, arm in counts.items())
    rows = batch_losses(records)
    return tuple(
        _of_batches(code, arm, [row for row in rows if row.treatment == code], level)
        for code, arm in counts.items()
    )


def _of_units(code: str, arm: ArmCounts, level: float) -> LossCount:
    if arm.made == 0:
        low, high, method = math.nan, math.nan, "none"
    elif arm.lost in (0, arm.made):
        exact = clopper_pearson(arm.lost, arm.made, level)
        low, high, method = exact.low, exact.high, "Clopper-Pearson"
    else:
        score = wilson(arm.lost, arm.made, level)
        low, high, method = score.low, score.high, "Wilson"
    return LossCount(
        treatment=code, lost=arm.lost, made=arm.made, low=low, high=high, level=level,
        method=method,
    )  # fmt: skip


def _of_batches(code: str, arm: ArmCounts, rows: list[BatchLoss], level: float) -> LossCount:
    low, high, method = math.nan, math.nan, "none: one batch does not show how batches differ"
    shares = np.array([row.lost / row.made for row in rows])
    if len(rows) > 1 and np.ptp(shares) == 0 and shares[0] in (0.0, 1.0):
        exact = clopper_pearson(int(shares[0]) * len(rows), len(rows), level)
        low, high, method = exact.low, exact.high, "Clopper-Pearson, each batch as one unit"
    elif len(rows) > 1 and np.ptp(shares) > 0:
        error = float(shares.std(ddof=1)) / math.sqrt(len(rows))
        reach = float(stdtrit(len(rows) - 1, 1 - (1 - level) / 2)) * error
        low, high = (float(one) for one in dispersed_share_limits(shares.mean(), reach))
        method = "Wilson's interval with the batches' dispersion, t"
        if min((shares > 0).sum(), (shares < 1).sum()) < FEWEST_HIT:
            lost, kept = (
                clopper_pearson(int(hit.sum()), len(rows), level).high
                for hit in (shares > 0, shares < 1)
            )
            low, high = min(low, 1 - kept), max(high, lost)
            method += ", widened to one that holds with one batch hit"
    elif len(rows) > 1:
        method = "none: the batches all lost the same share"
    return LossCount(
        treatment=code, lost=arm.lost, made=arm.made, low=low, high=high, level=level,
        method=method, batches=len(rows),
    )  # fmt: skip
