"""The p value from the layout's own randomisation, beside the model's."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analyses.comparison import Sample
from analyses.estimate import Estimate
from analyses.layouts.redeal import indicators, split_plot_redeal, table_redeal
from trials.records import Records

__all__ = ["COUNT_UP_TO", "p_rerandomised", "responses"]

COUNT_UP_TO = 10**12
"""Layouts are counted exactly up to so many: sums over blocks combine, so that none is listed."""

MOST_UNITS = 20_000
"""Units of a layout that is dealt out again; with more, dealing out tells what the model told."""

_DRAWS, _FEWEST_DRAWS, _MOST_DEALT = 100_000, 999, 30_000_000

LIST_UP_TO = 200_000
"""Layouts of rows and columns are listed up to so many, and drawn beyond."""


def p_rerandomised(records: Records, sample: Sample, estimate: Estimate) -> float | None:
    """Deal the treatments out again as the draw did, and count how often chance does as much.

    Parameters
    ----------
    records : Records
        Its layout says what was shuffled among what; its seed makes drawn layouts repeatable.
    sample : Sample
        The rows of the answer; units that are not in it keep their label and have no response.
        Rows are found by the index of `records.bags`.
    estimate : Estimate
        The comparison; not adjusted for other comparisons.

    Returns
    -------
    float or None
        None where there was nothing to deal out again, or more units than `MOST_UNITS`.

    Notes
    -----
    Of 300 units or less 100,000 layouts are drawn where they are not counted, of more units fewer,
    999 at least.

    Incomplete blocks are dealt out within blocks only, given which treatments share a block. Rows
    and columns are shuffled together with the treatments of the table that was used. In a split
    plot the batches of a block and the bags of a batch are dealt out together.

    References
    ----------
    Fisher (1935), The Design of Experiments; Phipson & Smyth (2010), Stat. Appl. Genet. Mol.
    Biol. 9, article 39.
    """
    if estimate.withheld or len(records.bags) > MOST_UNITS:
        return None
    values = responses(records, sample)
    generator = np.random.default_rng(records.layout.seed)
    pair = {
        "treated": estimate.treatment,
        "control": estimate.control,
        "generator": generator,
        "draws": max(_FEWEST_DRAWS, min(_DRAWS, _MOST_DEALT // len(records.bags))),
    }
    word = records.layout.randomisation
    try:
        if word == "rows, columns and treatments of a square":
            return _square(records, values, pair)
        if word == "rows, columns and treatments of a table":
            return _table(records, values, pair)
        if word == "batches within blocks, units within batches":
            return _split_plot(records, values, pair)
        return _blocks(records, values, pair, by_batch=sample.counted == "batch")
    except ValueError:  # too little is left to tell the labels apart in any layout
        return None


def responses(records: Records, sample: Sample) -> npt.NDArray[np.float64]:
    """Give the response of every unit of the layout, NaN where it is not in the sample.

    Parameters
    ----------
    records : Records
    sample : Sample
        Rows are found by the index of `records.bags`.
    """
    response = pd.Series(np.nan, index=records.bags.index)
    response.loc[sample.frame.index] = sample.frame["response"]
    return np.asarray(response.to_numpy(), dtype=float)


def _blocks(
    records: Records, values: npt.NDArray[np.float64], pair: dict[str, Any], *, by_batch: bool
) -> float:
    from analyses.models.layouts.rerandomise import rerandomise, rerandomise_batches

    bags = records.bags
    labels = bags["treatment"].to_numpy()
    blocked = records.layout.randomisation.endswith("within blocks")
    how = {
        "blocks": bags["block"].to_numpy() if blocked else None,
        "enumerate_up_to": COUNT_UP_TO,
        **pair,
    }
    if by_batch:
        return rerandomise_batches(labels, bags["batch"].to_numpy(), values, **how).p
    return rerandomise(labels, values, **how).p


def _square(records: Records, values: npt.NDArray[np.float64], pair: dict[str, Any]) -> float:
    from analyses.models.layouts.rerandomise_designs import rerandomise_square

    bags = records.bags
    labels, rows, columns = (bags[name].to_numpy() for name in ("treatment", "row", "column"))
    return rerandomise_square(labels, rows, columns, values, enumerate_up_to=LIST_UP_TO, **pair).p


def _table(records: Records, values: npt.NDArray[np.float64], pair: dict[str, Any]) -> float:
    from analyses.models.layouts.rerandomise_designs import rerandomise_layouts

    rows, columns = (records.bags[name].to_numpy() for name in ("row", "column"))
    labels, pair = _numbered(records, pair)
    redeal = table_redeal(labels, rows, columns)
    return rerandomise_layouts(labels, values, redeal, nuisance=indicators(rows, columns), **pair).p


def _split_plot(records: Records, values: npt.NDArray[np.float64], pair: dict[str, Any]) -> float:
    from analyses.models.layouts.rerandomise_designs import rerandomise_layouts

    trial, bags = records.trial, records.bags
    factor = trial.design.batch_factor
    level = {one.code: one.level(factor) for one in trial.treatments}
    other = {
        one.code: repr([own for own in one.factors if own[0] != factor]) for one in trial.treatments
    }
    labels, pair = _numbered(records, pair)
    redeal = split_plot_redeal(
        bags["treatment"].map(level).to_numpy(dtype=str),
        bags["treatment"].map(other).to_numpy(dtype=str),
        labels,
        bags["batch"].to_numpy(),
        bags["block"].to_numpy(),
    )
    nuisance = indicators(bags["block"].to_numpy())
    return rerandomise_layouts(labels, values, redeal, nuisance=nuisance, **pair).p


def _numbered(
    records: Records, pair: dict[str, Any]
) -> tuple[npt.NDArray[np.intp], dict[str, Any]]:
    """Write treatments as numbers: drawn layouts are compared faster so than as words."""
    number = {one.code: at for at, one in enumerate(records.trial.treatments)}
    labels = np.array([number[code] for code in records.bags["treatment"]], dtype=np.intp)
    sides = {side: number[pair[side]] for side in ("treated", "control")}
    return labels, {**pair, **sides}
