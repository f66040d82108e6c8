"""The other measures of a comparison of batches: margins, odds, how alike a batch is."""

from __future__ import annotations

import math

from scipy.special import stdtr, stdtrit

from analyses.companion import Companion
from analyses.comparison import compare
from analyses.estimate import Estimate
from analyses.losses.batch_limits import FEWEST_HIT, BatchShares, score_stretch
from analyses.losses.batch_sample import batch_sample, shares_of
from analyses.losses.estimate import asked
from analyses.losses.intercept import random_intercept
from analyses.losses.table import BatchLoss, batch_losses
from analyses.models.counts.clusters import adjusted_test
from analyses.models.counts.risk_ratio import dispersed_ratio_limits
from trials.records import Records

__all__ = ["batch_companions"]


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
        The one-sided test against the margin, the ratio of mean shares, the odds ratio,
        intracluster correlation and design effect of a logistic model with a random batch, and the
        chi-squared of the units allowing for batches; empty where inference is withheld.
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
        *_ratio(records, estimate, level),
        *random_intercept(*parts, kind="batch", level=level),
        *_by_design_effect(mine, control, level),
    )


def _plain(records: Records, one: Estimate) -> tuple[float, BatchShares] | None:
    """Give the standard error of the t of the shares, in units of a hundred, and the shares."""
    if one.df is None:
        return None
    sample = batch_sample(records)
    plain = next(
        each for each in compare(sample, records.trial, level=one.level).estimates
        if each.treatment == one.treatment
    )  # fmt: skip
    shares = shares_of(sample, one)
    if plain.withheld or shares is None:
        return None
    half = (plain.high_alone - plain.low_alone) / 2
    return half / float(stdtrit(one.df, 1 - (1 - one.level) / 2)), shares


def _ratio(records: Records, one: Estimate, level: float) -> tuple[Companion, ...]:
    found = _plain(records, one)
    if found is None or one.df is None:
        return ()
    error, shares = found
    method = "of the batches' mean shares, Koopman's score interval with the batches' dispersion, t"
    counts = (shares.hits(kept=kept) for kept in (False, True))
    if min(float(first[0] + second[0]) for first, second in counts) < FEWEST_HIT:
        note = "one batch alone shows no dispersion"
        return (Companion(measure="risk ratio", level=level, method=method, note=note),)
    reach = float(stdtrit(one.df, 1 - (1 - level) / 2)) * error / 100
    low, high = (float(each[0]) for each in dispersed_ratio_limits(reach, *shares.table))
    mine, control = float(shares.table[0][0]), float(shares.table[2][0])
    t = one.value / error / float(score_stretch(shares, 0.0)[0])
    return (
        Companion(
            measure="risk ratio", value=mine / control if control else math.inf, low=low,
            high=high, level=level, p=float(2 * stdtr(one.df, -abs(t))), df=one.df, method=method,
        ),
    )  # fmt: skip


def _against_margin(records: Records, one: Estimate) -> tuple[Companion, ...]:
    claim, margin = asked(records)
    found = None if claim == "better" else _plain(records, one)
    if margin is None or found is None or one.df is None:
        return ()
    error, shares = found
    worse, better = (
        float(stdtr(one.df, away / error / float(score_stretch(shares, at)[0])))
        for away, at in ((one.value - margin, margin), (-one.value - margin, -margin))
    )
    measure = f"less than {margin:g} in 100 more"
    if claim == "same":
        measure, worse = f"within {margin:g} in 100 either way", max(worse, better)
    return (
        Companion(
            measure=measure, p=worse, df=one.df, level=one.level,
            method="score test of the batches' shares against the margin with the batches' "
            "dispersion, t, one-sided p",
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
