"""Losses of a group: the odds, and what none lost at any grower still allows."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd

from analyses.companion import Companion, from_log
from analyses.comparison import Sample
from analyses.estimate import Estimate
from analyses.losses.table import known_fates
from analyses.models.counts.odds import odds_contrast
from analyses.models.counts.random_intercept import fit_random_intercept
from analyses.models.counts.two_proportions import miettinen_nurminen
from analyses.models.counts.whole_clusters import whole_cluster_limits
from analyses.models.trials_together.odds_together import fit_odds_together
from analyses.pooling.rows import Stack

__all__ = ["loss_counts_together", "odds_companions", "without_losses"]

_NO_END = "one side lost none or all of its bags at every grower, so the search has no end"


def loss_counts_together(stacked: Stack) -> pd.DataFrame:
    """Count lost and made bags by grower, treatment and batch.

    Parameters
    ----------
    stacked : Stack

    Returns
    -------
    pandas.DataFrame
        Columns grower, treatment, batch, lost, made.
    """
    known = known_fates(stacked.records)
    grouped = known.groupby(["grower", "treatment", "batch"], sort=False)["lost"]
    return grouped.agg(lost="sum", made="size").reset_index()


def odds_companions(
    counts: pd.DataFrame, control: str, code: str, *, by_batch: bool, level: float
) -> tuple[Companion, ...]:
    """Give the odds ratio of a loss over all growers, those without a loss kept.

    Parameters
    ----------
    counts : pandas.DataFrame
        As `loss_counts_together` gives it.
    control, code : str
        Of the two treatments.
    by_batch : bool
        Whether batches are what counts.
    level : float
        Two-sided confidence.

    Returns
    -------
    tuple of Companion
        Bags that stand alone: level and log odds ratio normal between growers. Batches: a random
        intercept for each batch and a level for each grower; a grower without a loss says nothing
        of the odds ratio then, and is counted in the difference of shares only.
    """
    both = counts[counts["treatment"].isin([control, code])]
    sides = both.groupby("grower")["treatment"].nunique()
    both = both[both["grower"].isin(sides.index[sides == 2])]
    if both["grower"].nunique() < 2:
        return ()
    if by_batch:
        return _by_batch(both, code, level)
    table = both.groupby(["grower", "treatment"], sort=False)[["lost", "made"]].sum()
    lost, made = (table[name].unstack()[[control, code]].to_numpy() for name in ("lost", "made"))
    found = fit_odds_together(lost, made, level=level)
    method = "log odds with a random level and a random effect for each grower, adaptive quadrature"
    if not found.converged:
        return (Companion(measure="odds ratio", level=level, method=method, note=_NO_END),)
    return (
        Companion(
            measure="odds ratio", value=from_log(found.value), low=from_log(found.low),
            high=from_log(found.high), level=level, p=found.p, df=found.df,
            method=f"{method}; t on growers less one",
        ),
        Companion(
            measure="spread of the log odds ratio between growers", value=found.sigma_effect,
            level=level, p=found.differ_p, method="standard deviation; likelihood ratio test",
        ),
    )  # fmt: skip


def _by_batch(both: pd.DataFrame, code: str, level: float) -> tuple[Companion, ...]:
    method = "logistic with a random batch and a level for each grower, adaptive quadrature"
    totals = both.groupby("grower")[["lost", "made"]].sum()
    telling = totals.index[(totals["lost"] > 0) & (totals["lost"] < totals["made"])]
    rows = both[both["grower"].isin(telling)]
    blank = Companion(measure="odds ratio", level=level, method=method, note=_NO_END)
    if not len(rows):
        return (blank,)
    mine = (rows["treatment"] == code).to_numpy(float)
    growers = pd.get_dummies(rows["grower"], drop_first=True).to_numpy(float)
    design = np.column_stack([np.ones(len(rows)), mine, growers])
    fit = fit_random_intercept(design, rows["batch"], rows["lost"], rows["made"], nodes=15)
    if not fit.converged:
        return (blank,)
    odds = odds_contrast(fit, [0, 1, *np.zeros(design.shape[1] - 2)], level)
    left_out = len(totals) - len(telling)
    remarks = [f"{left_out} growers without a loss say nothing of the odds"] if left_out else []
    return (
        Companion(
            measure="odds ratio", value=from_log(odds.value), low=from_log(odds.low),
            high=from_log(odds.high), level=level, p=odds.p, df=odds.df,
            method=f"{method}; t on between-within df", note="; ".join((*remarks, *fit.notes)),
        ),
    )  # fmt: skip


def without_losses(estimate: Estimate, sample: Sample, trials: int) -> Estimate:
    """Give the limits that hold where no bag was lost at any grower.

    Parameters
    ----------
    estimate : Estimate
        Withheld, because every value is the same.
    sample : Sample
        Losses of all growers.
    trials : int
        Comparisons that share the level.

    Returns
    -------
    Estimate
        As it came, where something was lost or everything.
    """
    sides = [
        sample.frame.loc[sample.frame["treatment"] == code, "response"]
        for code in (estimate.treatment, estimate.control)
    ]
    sizes = [len(side) for side in sides]
    if min(sizes) < 1 or any((side != 0).any() for side in sides) or estimate.units < 2:
        return estimate
    together, alone = (
        _limits(sizes, sample.counted, one)
        for one in (1 - (1 - estimate.level) / trials, estimate.level)
    )
    what = "batches, whatever bags of one share" if sample.counted == "batch" else "bags"
    return replace(
        estimate, value=0.0, low=together[0], high=together[1], low_alone=alone[0],
        high_alone=alone[1], p=1.0, df=math.inf, withheld="",
        method=f"no loss at any grower: limits from the number of {what}; they know nothing of how "
        "growers differ",
    )  # fmt: skip


def _limits(sizes: list[int], counted: str, level: float) -> tuple[float, float]:
    if counted == "batch":
        low, high = whole_cluster_limits(sizes[0], sizes[1], level)
    else:
        found = miettinen_nurminen(0, sizes[0], 0, sizes[1], level)
        low, high = found.low, found.high
    return 100 * low, 100 * high
