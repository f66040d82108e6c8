"""Losses where whole batches were treated: the shares of the batches are compared."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from analyses.comparison import Comparison, Sample, compare
from analyses.estimate import Estimate
from analyses.losses.batch_limits import (
    BatchShares,
    held_limits,
    spared,
    spreadless_limits,
)
from analyses.losses.batch_notes import batch_notes
from analyses.losses.batch_sample import batch_sample, shares_of
from analyses.losses.estimate import asked, decides, shared_level
from trials.records import Records

__all__ = ["by_batch", "held_by_batches"]


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
        Cluster Randomization Trials, section 6.2). Whether there is a difference is the t's to
        say; near none and near all the limits reach as far as a score test with the batches'
        dispersion lets them (`batch_limits.held_limits`, where it is said why and how it was
        chosen). Where no batch lost anything, or every one all, the limits are exact
        ones that hold whatever batches share. With one batch on a side there is no test.
    """
    sample = batch_sample(records)
    answer = compare(sample, records.trial, level=level)
    settled = [_settle(one, sample, records, level) for one in answer.estimates]
    return replace(
        answer,
        estimates=tuple(_told(one, records, level) for one in settled),
    )


def _told(one: Estimate, records: Records, level: float) -> Estimate:
    if one.withheld:
        return one
    claim, _ = asked(records)
    method = f"{one.method}; {decides(claim, level)}"
    return replace(one, method=method, notes=one.notes + batch_notes(records))


def _settle(one: Estimate, sample: Sample, records: Records, level: float) -> Estimate:
    """Keep limits possible, and find those that hold where batches do not vary."""
    shares = shares_of(sample, one)
    sides = [side[:, 0] for side in shares.sides] if shares is not None else []
    if not one.withheld and shares is not None:
        method = (
            f"t of the batches' shares, each batch counting once: {one.method}; how far the "
            "limits reach is also held to the score test with the batches' dispersion"
        )
        held = held_by_batches(one, shares, shared_level(records, level), level)
        return replace(held, percent=None, method=method)
    if shares is None or min(shares.sizes) < 2:
        return replace(one, withheld=_alone(sample, one, records))
    if all(spared(side)[0] for side in shares.sides):
        return _without_spread(one, shares, len(records.trial.challengers), level)
    if all(np.ptp(side) == 0 for side in sides):
        reason = "all batches of a side lost the same share, so nothing shows how batches differ"
        return replace(one, withheld=reason)
    return one


def held_by_batches(one: Estimate, shares: BatchShares, shared: float, level: float) -> Estimate:
    """Widen the limits of a t where shares are near none or near all.

    Parameters
    ----------
    one : Estimate
        With the limits of a t.
    shares : BatchShares
    shared, level : float
        Confidence of each comparison where all are to hold together, and by itself.
    """
    value = np.array([one.value])

    def held(low: float, high: float, each: float) -> tuple[float, float]:
        least, most = held_limits(shares, value, np.array([low]), np.array([high]), each)
        return float(least[0]), float(most[0])

    low, high = held(one.low, one.high, shared)
    low_alone, high_alone = held(one.low_alone, one.high_alone, level)
    return replace(one, low=low, high=high, low_alone=low_alone, high_alone=high_alone)


def _alone(sample: Sample, one: Estimate, records: Records) -> str:
    codes = (one.treatment, one.control)
    counts = [int((sample.frame["treatment"] == code).sum()) for code in codes]
    if all(count == 1 for count in counts):
        return "one batch a side cannot tell a better method from a luckier batch"
    for count, code in zip(counts, codes, strict=True):
        name = records.trial.treatment(code).name
        if not count:
            return f"there is no batch of “{name}” to count"
        if count == 1:
            return f"one batch of “{name}” cannot tell a better method from a luckier batch"
    return one.withheld


def _without_spread(one: Estimate, shares: BatchShares, family: int, level: float) -> Estimate:
    """Give exact limits where every batch lost nothing or everything."""
    k1, k2 = shares.sizes
    every = (bool(shares.sides[0][0, 0] > 0), bool(shares.sides[1][0, 0] > 0))
    low, high = spreadless_limits(every, (k1, k2), 1 - (1 - level) / family)
    low_alone, high_alone = spreadless_limits(every, (k1, k2), level)
    # Of all ways to deal k1 and k2 batches, two at most are as extreme as all against none.
    apart = every[0] != every[1]
    extreme = 2 if k1 == k2 else 1
    p = min(1.0, family * extreme / math.comb(k1 + k2, k1)) if apart else 1.0
    return replace(
        one, low=low, high=high, low_alone=low_alone, high_alone=high_alone, p=p, withheld="",
        method="every batch lost none or all of its units: exact limits (Clopper-Pearson's "
        "argument, each batch as one unit) that hold whatever the units of a batch share",
    )  # fmt: skip
