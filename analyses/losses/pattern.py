"""When units were lost and what was seen on them."""

from __future__ import annotations

from dataclasses import dataclass

from analyses.losses.curves import LossCurve, followed_days, log_rank_p, loss_curve
from analyses.losses.stages import SeenCount, StageCount, seen_counts, stage_counts
from analyses.losses.table import known_fates
from analyses.unit import UnitStory
from trials.records import Records

__all__ = ["LossPattern", "loss_pattern"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LossPattern:
    """When and how units were lost.

    Parameters
    ----------
    stages : tuple of StageCount
        Every treatment and every stage at which a unit of any treatment was lost.
    seen : tuple of SeenCount
        By treatment, the most frequent first.
    curves : tuple of LossCurve
        Empty where no day of loss can be placed.
    undated : int
        Contaminated units without a day, which are in no curve.
    log_rank_p : float or None
        Of no difference between the curves, within blocks; None where batches are what counts.
    level : float
        Confidence.
    """

    stages: tuple[StageCount, ...]
    seen: tuple[SeenCount, ...]
    curves: tuple[LossCurve, ...]
    undated: int
    log_rank_p: float | None
    level: float


def loss_pattern(records: Records, unit: UnitStory, *, level: float) -> LossPattern | None:
    """Tell when units were lost to contamination, and what was seen.

    Parameters
    ----------
    records : Records
    unit : UnitStory
        Where batches count, the curves have no limits: units of one batch are lost together.
    level : float
        Confidence.

    Returns
    -------
    LossPattern or None
        None where no unit was contaminated.
    """
    known = known_fates(records)
    if not known["lost"].any():
        return None
    alone = unit.counted != "batch"
    times = followed_days(records, known)
    followed = times.dropna(subset=["days"])
    drawn = bool(followed["lost"].any())
    curves = [
        loss_curve(one.code, followed[followed["treatment"] == one.code], level, limits=alone)
        for one in records.trial.treatments
        if (followed["treatment"] == one.code).any()
    ]
    return LossPattern(
        stages=stage_counts(records, known),
        seen=seen_counts(records, known),
        curves=tuple(curves) if drawn else (),
        undated=int((times["lost"] & times["days"].isna()).sum()),
        log_rank_p=log_rank_p(records, followed) if alone and len(curves) > 1 and drawn else None,
        level=level,
    )
