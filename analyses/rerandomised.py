"""The p value from the layout's own randomisation, beside the model's."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analyses.comparison import Sample
from analyses.estimate import Estimate
from trials.records import Records

__all__ = ["COUNT_UP_TO", "p_rerandomised"]

COUNT_UP_TO = 10**12
"""Layouts are counted exactly up to so many: sums over blocks combine, so that none is listed."""


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
        None where there was nothing to deal out again.

    References
    ----------
    Fisher (1935), The Design of Experiments; Phipson & Smyth (2010), Stat. Appl. Genet. Mol.
    Biol. 9, article 39.
    """
    from analyses.models.rerandomise import rerandomise, rerandomise_batches

    if estimate.withheld:
        return None
    bags = records.bags
    response = pd.Series(np.nan, index=bags.index)
    response.loc[sample.frame.index] = sample.frame["response"]
    blocked = records.layout.randomisation.endswith("within blocks")
    blocks = bags["block"].to_numpy() if blocked else None
    generator = np.random.default_rng(records.layout.seed)
    labels, values = bags["treatment"].to_numpy(), response.to_numpy()
    try:
        if estimate.unit_counted == "batch":
            batches = bags["batch"].to_numpy()
            return rerandomise_batches(
                labels, batches, values, treated=estimate.treatment, control=estimate.control,
                blocks=blocks, generator=generator, enumerate_up_to=COUNT_UP_TO,
            ).p  # fmt: skip
        return rerandomise(
            labels, values, treated=estimate.treatment, control=estimate.control,
            blocks=blocks, generator=generator, enumerate_up_to=COUNT_UP_TO,
        ).p  # fmt: skip
    except ValueError:  # too little is left to tell the labels apart in any layout
        return None
