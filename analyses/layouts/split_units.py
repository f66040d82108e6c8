"""What counts in a split plot: batches between levels of the batch factor, bags within them."""

from __future__ import annotations

from dataclasses import replace

from analyses.comparison import Comparison
from analyses.estimate import Estimate
from trials.records import Records

__all__ = ["by_batch_where_batches_differ"]


def by_batch_where_batches_differ(answer: Comparison, records: Records) -> Comparison:
    """Count batches, not bags, where two treatments never share a batch.

    Parameters
    ----------
    answer : Comparison
        By a model that holds the batches, so that its intervals are right as they are.
    records : Records

    Returns
    -------
    Comparison
        As it was in any layout but a split plot.
    """
    factor = records.trial.design.batch_factor
    if not factor or answer.sample is None:
        return answer
    return replace(
        answer, estimates=tuple(_counted(one, answer, records, factor) for one in answer.estimates)
    )


def _counted(one: Estimate, answer: Comparison, records: Records, factor: str) -> Estimate:
    trial = records.trial
    levels = {trial.treatment(code).level(factor) for code in (one.treatment, one.control)}
    if len(levels) == 1 or answer.sample is None:
        return one
    frame = answer.sample.frame
    of_level = [item.code for item in trial.treatments if item.level(factor) in levels]
    batches = frame.loc[frame["treatment"].isin(of_level), "batch"].nunique()
    return replace(one, unit_counted="batch", units=int(batches))
