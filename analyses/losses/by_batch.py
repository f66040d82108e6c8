"""Losses where whole batches were treated: the shares of the batches are compared."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.special import stdtr, stdtrit

from analyses.companion import Companion
from analyses.comparison import Comparison, Sample, compare
from analyses.estimate import Estimate
from analyses.finding import Mean
from analyses.losses.estimate import HUNDRED, asked, decides
from analyses.losses.intercept import random_intercept
from analyses.losses.table import batch_losses, known_fates
from analyses.models.counts.clusters import adjusted_test
from analyses.models.counts.whole_clusters import hit_cluster_limits, whole_cluster_limits
from analyses.pieces import BatchLoss
from analyses.yields import STARTED
from trials.records import Records

__all__ = ["FEW_BATCHES", "batch_companions", "batch_shares", "by_batch"]

FEW_BATCHES = 5
"""Fewer batches with a loss than this cannot show how batches spread.

With four or fewer, a t of the shares would claim "no worse" up to six times too often
(tests/calibration/RESULTS.md). A difference that it shows stands; how far it reaches is widened.
"""


def batch_shares(records: Records) -> Sample:
    """Give one row a batch, with its lost units in a hundred.

    Parameters
    ----------
    records : Records
    """
    rows = batch_losses(records)
    frame = pd.DataFrame(
        {
            "treatment": [row.treatment for row in rows],
            "block": [row.block for row in rows],
            "batch": [row.batch for row in rows],
            "response": [100.0 * row.lost / row.made for row in rows],
        }
    )
    blocked = records.layout.randomisation.endswith("within blocks")
    random = ("block",) if blocked and frame["block"].nunique() > 1 else ()
    return Sample(
        frame=frame, outcome="contamination", estimand=STARTED, unit=HUNDRED,
        random=random, counted="batch",
    )  # fmt: skip


def by_batch(records: Records, *, level: float) -> Comparison:
    """Compare the shares that batches lost: one number a batch, t with the batches' df.

    Parameters
    ----------
    records : Records
    level : float
        Confidence for all comparisons together.

    Returns
    -------
    Comparison
        Batches count alike whatever their size (Donner & Klar 2000, Design and Analysis of
        Cluster Randomization Trials, section 6.2). Where no batch lost anything, or every one all,
        the limits are exact ones that hold whatever batches share; where few did, the range of the
        t is widened to limits that do. With one batch on a side there is no test.
    """
    sample = batch_shares(records)
    answer = compare(sample, records.trial, level=level)
    settled = [_settle(one, sample, records, level) for one in answer.estimates]
    return replace(
        answer,
        estimates=tuple(_told(one, records, level) for one in settled),
        means=tuple(_inside(one) for one in answer.means),
    )


def _told(one: Estimate, records: Records, level: float) -> Estimate:
    if one.withheld:
        return one
    claim, _ = asked(records)
    method = f"{one.method}; {decides(claim, level)}"
    return replace(one, method=method, notes=one.notes + _notes(records))


def _settle(one: Estimate, sample: Sample, records: Records, level: float) -> Estimate:
    """Keep limits possible, and find those that hold where batches do not vary."""
    sides = [
        sample.frame.loc[sample.frame["treatment"] == code, "response"].to_numpy()
        for code in (one.treatment, one.control)
    ]
    if not one.withheld:
        return _by_t(one, sides, len(records.trial.challengers), level)
    if min(len(side) for side in sides) < 2:
        return replace(one, withheld=_alone(sides, one, records))
    if all(np.ptp(side) == 0 and side[0] in (0.0, 100.0) for side in sides):
        return _without_spread(one, sides, len(records.trial.challengers), level)
    if all(np.ptp(side) == 0 for side in sides):
        reason = "all batches of a side lost the same share, so nothing shows how batches differ"
        return replace(one, withheld=reason)
    return one


def _by_t(one: Estimate, sides: list[np.ndarray], family: int, level: float) -> Estimate:
    method = "t of the batches' shares, each batch counting once: " + one.method
    limits = (one.low, one.high, one.low_alone, one.high_alone)
    hit = _few_hit(sides)
    if hit is not None:
        mirrored, hits = hit
        sizes = (len(sides[0]), len(sides[1]))
        wide, alone = (
            _hundredfold(hit_cluster_limits(hits, sizes, each), mirrored=mirrored)
            for each in (1 - (1 - level) / family, level)
        )
        method += ", the range widened to one that holds with few batches hit"
        limits = (
            *_widened((one.low, one.high), wide),
            *_widened((one.low_alone, one.high_alone), alone),
        )
    low, high, low_alone, high_alone = (min(max(limit, -100.0), 100.0) for limit in limits)
    return replace(
        one, low=low, high=high, low_alone=low_alone, high_alone=high_alone, percent=None,
        method=method,
    )  # fmt: skip


def _widened(limits: tuple[float, float], wide: tuple[float, float]) -> tuple[float, float]:
    """Widen limits, but for the one that keeps them clear of no difference."""
    low, high = limits
    return (low if low > 0 else min(low, wide[0])), (high if high < 0 else max(high, wide[1]))


def _few_hit(sides: list[np.ndarray]) -> tuple[bool, tuple[int, int]] | None:
    """Say whether fewer batches than five lost anything, or fewer than five kept anything."""
    batches = sum(len(side) for side in sides)
    for mirrored, spared in ((False, 0.0), (True, 100.0)):
        first, second = (int((side != spared).sum()) for side in sides)
        if first + second < min(FEW_BATCHES, batches):
            return mirrored, (first, second)
    return None


def _hundredfold(limits: tuple[float, float], *, mirrored: bool) -> tuple[float, float]:
    """Give limits in a hundred; those of shares kept are turned into those of shares lost."""
    low, high = limits
    return (-100 * high, -100 * low) if mirrored else (100 * low, 100 * high)


def _alone(sides: list[np.ndarray], one: Estimate, records: Records) -> str:
    if all(len(side) == 1 for side in sides):
        return "one batch a side cannot tell a better method from a luckier batch"
    for side, code in zip(sides, (one.treatment, one.control), strict=True):
        name = records.trial.treatment(code).name
        if not len(side):
            return f"there is no batch of “{name}” to count"
        if len(side) == 1:
            return f"one batch of “{name}” cannot tell a better method from a luckier batch"
    return one.withheld


def _without_spread(one: Estimate, sides: list[np.ndarray], family: int, level: float) -> Estimate:
    """Give exact limits where every batch lost nothing or everything."""
    k1, k2 = (len(side) for side in sides)
    every = {"all1": bool(sides[0][0] > 0), "all2": bool(sides[1][0] > 0)}
    low, high = whole_cluster_limits(k1, k2, 1 - (1 - level) / family, **every)
    low_alone, high_alone = whole_cluster_limits(k1, k2, level, **every)
    # Of all ways to deal k1 and k2 batches, two at most are as extreme as all against none.
    apart = every["all1"] != every["all2"]
    extreme = 2 if k1 == k2 else 1
    p = min(1.0, family * extreme / math.comb(k1 + k2, k1)) if apart else 1.0
    return replace(
        one, low=100 * low, high=100 * high, low_alone=100 * low_alone,
        high_alone=100 * high_alone, p=p, withheld="",
        method="every batch lost none or all of its units: exact limits (Clopper-Pearson's "
        "argument, each batch as one unit) that hold whatever the units of a batch share",
    )  # fmt: skip


def _inside(mean: Mean) -> Mean:
    return replace(mean, low=max(mean.low, 0.0), high=min(mean.high, 100.0))


def _notes(records: Records) -> tuple[str, ...]:
    rows, known = batch_losses(records), known_fates(records)
    word, notes = records.trial.unit, []
    outside = int((known["batch"] == "").sum())
    if outside:
        notes.append(f"{outside} {word}s belong to no batch and were left out of the comparison.")
    twice = sorted({row.batch for row in rows if _sides(rows, row.batch) > 1})
    if twice:
        notes.append(
            f"{', '.join(twice)} held more than one treatment; each part counts as a batch."
        )
    hit = sum(row.lost > 0 for row in rows)
    if 0 < hit < min(FEW_BATCHES, len(rows)):
        notes.append(
            f"Only {hit} of {len(rows)} batches lost any {word}. So few cannot show how much "
            "batches differ, so the range was widened to one that holds whatever they share."
        )
    if len({row.made for row in rows}) > 1:
        sizes = [row.made for row in rows]
        notes.append(
            f"Batches hold {min(sizes)} to {max(sizes)} {word}s of known fate; each counts once."
        )
    return tuple(notes)


def _sides(rows: tuple[BatchLoss, ...], batch: str) -> int:
    return sum(row.batch == batch for row in rows)


def batch_companions(
    records: Records, estimate: Estimate, *, level: float
) -> tuple[Companion, ...]:
    """Give the other measures of one comparison of batches.

    Parameters
    ----------
    records : Records
    estimate : Estimate
        The comparison.
    level : float
        Confidence of each by itself.

    Returns
    -------
    tuple of Companion
        The one-sided t against the margin, the odds ratio, intracluster correlation and design
        effect of a logistic model with a random batch, and the chi-squared of the units allowing
        for batches; empty where inference is withheld.
    """
    if estimate.withheld:
        return ()
    rows = batch_losses(records)
    number = {name: place for place, name in enumerate(dict.fromkeys(row.batch for row in rows))}
    mine, control = (
        [row for row in rows if row.treatment == code]
        for code in (estimate.treatment, estimate.control)
    )
    parts = [
        [(number[row.batch], float(row.lost), float(row.made)) for row in side]
        for side in (mine, control)
    ]
    return (
        *_against_margin(records, estimate),
        *random_intercept(*parts, kind="batch", level=level),
        *_by_design_effect(mine, control, level),
    )


def _against_margin(records: Records, one: Estimate) -> tuple[Companion, ...]:
    claim, margin = asked(records)
    if claim == "better" or margin is None or one.withheld or one.df is None:
        return ()
    if "widened" in one.method or one.low_alone <= -100 or one.high_alone >= 100:
        return ()  # no longer the t's own limits, so they hold no standard error
    half = (one.high_alone - one.low_alone) / 2
    error = half / float(stdtrit(one.df, 1 - (1 - one.level) / 2))
    p_worse = float(stdtr(one.df, (one.value - margin) / error))
    p_better = float(stdtr(one.df, (-one.value - margin) / error))
    measure = f"less than {margin:g} in 100 more"
    if claim == "same":
        measure, p_worse = f"within {margin:g} in 100 either way", max(p_worse, p_better)
    return (
        Companion(
            measure=measure, p=p_worse, df=one.df, level=one.level,
            method="t of the batches' shares against the margin, one-sided p",
        ),
    )  # fmt: skip


def _by_design_effect(
    mine: list[BatchLoss], control: list[BatchLoss], level: float
) -> tuple[Companion, ...]:
    rows = [*mine, *control]
    lost, made = [row.lost for row in rows], [row.made for row in rows]
    second = [False] * len(mine) + [True] * len(control)
    if not 0 < sum(lost) < sum(made):
        return ()
    test = adjusted_test(lost, made, second)
    if not math.isfinite(test.correlation):
        return ()
    return (
        Companion(
            measure="intracluster correlation", value=test.correlation, level=level,
            method="analysis of variance",
        ),
        Companion(
            measure="design effect", value=max(test.inflation), level=level,
            method="Kish, from that correlation; the larger of the two sides",
        ),
        Companion(
            measure="no difference", p=test.p if test.adjusted > 0 else None, level=level,
            method="Pearson's chi-squared divided by the design effects (Donner and Klar)",
        ),
    )  # fmt: skip
