"""What each batch lost in a hundred: one row a batch."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analyses.comparison import Sample
from analyses.estimate import Estimate
from analyses.losses.batch_limits import BatchShares
from analyses.losses.estimate import HUNDRED
from analyses.losses.table import batch_losses
from analyses.yields import STARTED
from trials.records import Records

__all__ = ["batch_sample", "shares_of"]


def batch_sample(records: Records) -> Sample:
    """Give one row a batch, with its lost units in a hundred and how many it held.

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
            "made": [row.made for row in rows],
        }
    )
    blocked = records.layout.randomisation.endswith("within blocks")
    random = ("block",) if blocked and frame["block"].nunique() > 1 else ()
    return Sample(
        frame=frame, outcome="contamination", estimand=STARTED, unit=HUNDRED,
        random=random, counted="batch",
    )  # fmt: skip


def shares_of(sample: Sample, one: Estimate) -> BatchShares | None:
    """Give the batches of the two treatments of a comparison, or None where a side has none.

    Parameters
    ----------
    sample : Sample
        As `batch_sample` gives it.
    one : Estimate
    """
    sides = [
        sample.frame[sample.frame["treatment"] == code] for code in (one.treatment, one.control)
    ]
    if not all(len(side) for side in sides):
        return None
    mine, control = (side["response"].to_numpy(float)[:, None] for side in sides)
    made, control_made = (np.asarray(side["made"], float) for side in sides)
    return BatchShares(mine, control, made, control_made)
