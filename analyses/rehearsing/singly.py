"""Rehearsed trials analysed one by one, where many at once cannot be: slower, and as true."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyses.comparison import Comparison
from analyses.contamination import contamination_answer
from analyses.flushes import flush_answer
from analyses.rehearsing.fit import Limits
from analyses.timing import STAGE_OF, timing_answer
from analyses.unit import unit_story
from analyses.yields import STARTED, yield_answer
from trials.layout import Layout
from trials.records import Records
from trials.simulate import Simulated
from trials.simulated_records import to_records
from trials.trial import Trial

__all__ = ["Singly", "planned_answer"]

Array: TypeAlias = npt.NDArray[np.float64]


def planned_answer(records: Records) -> Comparison:
    """Answer the question that the plan asks, and no other.

    Parameters
    ----------
    records : Records
    """
    unit, aim = unit_story(records), records.trial.aim
    if aim.outcome == "contamination":
        return contamination_answer(records, unit, level=aim.confidence)
    if aim.outcome == "flush drop":
        return flush_answer(records, unit, level=aim.confidence)
    if aim.outcome in STAGE_OF:
        return timing_answer(records, unit, aim.outcome, level=aim.confidence)
    return yield_answer(records, unit, STARTED, level=aim.confidence)


@dataclass(frozen=True, slots=True, kw_only=True)
class Singly:
    """The analysis of the plan, record by record.

    Parameters
    ----------
    trial : Trial
    layout : Layout
    """

    trial: Trial
    layout: Layout

    def chunk(self, simulated: Simulated) -> dict[str, Array]:
        """Analyse some trials.

        Parameters
        ----------
        simulated : Simulated
        """
        each = [self.one(simulated, which) for which in range(simulated.lost.shape[1])]
        limits, control = zip(*each, strict=True)
        return {"limits": np.stack(limits, axis=-1), "control": np.array(control)}

    def one(self, simulated: Simulated, which: int) -> tuple[Array, float]:
        """Give value, low and high of each comparison of one trial, and the mean of the control.

        Parameters
        ----------
        simulated : Simulated
        which : int
            Number of the trial, from 0.
        """
        answer = planned_answer(to_records(self.trial, self.layout, simulated, which))
        limits = np.full((3, len(self.trial.challengers)), np.nan)
        for place, one in enumerate(answer.estimates):
            if not one.withheld:
                limits[:, place] = one.value, one.low, one.high
        return limits, _control_mean(answer, self.trial)

    def finish(self, parts: dict[str, Array]) -> Limits:
        """Give the intervals of all trials.

        Parameters
        ----------
        parts : dict of str to array
            Of all chunks, the trials behind each other.
        """
        value, low, high = parts["limits"]
        return Limits(value=value, low=low, high=high, control=parts["control"])


def _control_mean(answer: Comparison, trial: Trial) -> float:
    unit = answer.estimates[0].unit
    return next(
        mean.value
        for mean in answer.means
        if mean.treatment == trial.control.code and mean.unit == unit
    )
