"""Re-randomisation tests: how often the layout alone would have done as much.

The labels are dealt out again as the design's own randomisation could have dealt them, the
responses stay where they are, and the statistic of the layout used is placed among those of all
layouts (Fisher 1935, The Design of Experiments, section 21; Edgington & Onghena 2007). All layouts
are counted when there are few, else drawn, with the one used counted in (Phipson & Smyth 2010).
Layouts in which lost units leave nothing to compare are left out: given what was lost, the
layouts that remain are still equally likely.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analyses.models.layouts.additive_statistic import AdditiveStatistic
from analyses.models.layouts.counted_layouts import (
    CountPlan,
    Rerandomised,
    count_additive,
    count_written,
)
from analyses.models.layouts.label_codes import Statistic, block_codes, coded_labels
from analyses.models.layouts.label_layouts import WithinBlocks

__all__ = ["Rerandomised", "rerandomise", "rerandomise_batches"]


def rerandomise(
    labels: npt.ArrayLike,
    response: npt.ArrayLike,
    *,
    treated: object = None,
    control: object = None,
    blocks: npt.ArrayLike | None = None,
    statistic: Statistic = "difference",
    generator: np.random.Generator | None = None,
    enumerate_up_to: int = 200_000,
    draws: int = 100_000,
) -> Rerandomised:
    """Test by dealing the labels out again within blocks, or over all units without blocks.

    Parameters
    ----------
    labels
        Treatment of each unit as laid out, lost or not, shape (units,).
    response
        NaN where the unit was lost, shape (units,).
    treated, control
        The two labels compared; not used for "treatments".
    blocks
        Block of each unit, shape (units,); None for a completely random layout.
    statistic
        "difference": of treated from control, least squares with blocks and all treatments.
        "treatments": sum of squares between all treatments, adjusted for blocks.
        Or a function from label vectors, shape (layouts, units), to values, shape (layouts,);
        values at least as large in size count as extreme, NaN leaves the layout out.
    generator
        Source of randomness, needed when not all layouts are listed.
    enumerate_up_to
        List all layouts when there are at most this many.
    draws
        Layouts drawn otherwise.

    Raises
    ------
    ValueError
        If shapes do not fit, a label is unknown, or the layout used cannot tell the labels apart.

    References
    ----------
    Fisher (1935) The Design of Experiments; Phipson & Smyth (2010) Stat. Appl. Genet. Mol. Biol.
    9, article 39; Pagano & Tritchler (1983) J. Amer. Statist. Assoc. 78, 435-440.

    Examples
    --------
    >>> test = rerandomise(
    ...     ["bran", "okara"] * 4,
    ...     [410.0, 455, 380, 441, 402, 430, 395, 460],
    ...     treated="okara", control="bran", blocks=[1, 1, 2, 2, 3, 3, 4, 4],
    ... )
    >>> test.count, test.total, test.statistic
    (2, 16, 49.75)
    """
    names, codes, y = coded_labels(labels, response, treated, control, statistic)
    groups = block_codes(blocks, len(codes))
    plan = CountPlan(generator=generator, enumerate_up_to=enumerate_up_to, draws=draws)
    layouts = WithinBlocks(codes, groups)
    where = "within blocks" if blocks is not None else "over all units"
    if not isinstance(statistic, str):
        return count_written(layouts, codes, lambda chunk: statistic(names[chunk]), plan, where)
    return count_additive(
        AdditiveStatistic.of(codes, groups, y, statistic), layouts.total, plan, where
    )


def rerandomise_batches(
    labels: npt.ArrayLike,
    batches: npt.ArrayLike,
    response: npt.ArrayLike,
    *,
    treated: object,
    control: object,
    blocks: npt.ArrayLike | None = None,
    generator: np.random.Generator | None = None,
    enumerate_up_to: int = 200_000,
    draws: int = 100_000,
) -> Rerandomised:
    """Test with whole batches dealt out again; the statistic is the difference of batch means.

    With 1 for a contaminated unit and 0 for a clean one, batch means are batch proportions. Each
    batch counts once, whatever its size.

    Parameters
    ----------
    labels, batches, response
        One entry a unit, shape (units,); NaN where a unit was lost.
    treated, control, generator, enumerate_up_to, draws
        As in `rerandomise`.
    blocks
        Block of each unit, the same in all units of a batch; None where batches were dealt out
        over all.

    Raises
    ------
    ValueError
        If a batch holds two treatments or lies in two blocks.
    """
    names, first, batch = np.unique(np.asarray(batches), return_index=True, return_inverse=True)
    y = np.asarray(response, float)
    parts = {"treatment": np.asarray(labels)}
    if blocks is not None:
        parts["block"] = np.asarray(blocks)
    for word, values in parts.items():
        odd = values != values[first][batch]
        if odd.any():
            msg = f"batch {names[batch[odd][0]]!s} has more than one {word}"
            raise ValueError(msg)
    there = np.isfinite(y)
    counts = np.bincount(batch[there], minlength=len(names))
    totals = np.bincount(batch[there], weights=y[there], minlength=len(names))
    means = np.where(counts > 0, totals / np.maximum(counts, 1), np.nan)
    return rerandomise(
        parts["treatment"][first],
        means,
        treated=treated,
        control=control,
        blocks=None if blocks is None else parts["block"][first],
        generator=generator,
        enumerate_up_to=enumerate_up_to,
        draws=draws,
    )
