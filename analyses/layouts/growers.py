"""A trial at several growers: a claim about growers in general rests on growers, not on bags.

Growers are a sample of those who might use a treatment, so that grower and grower by treatment are
random terms (Cochran & Cox 1957, Experimental Designs, section 14.2). In a balanced trial the
treatments are then judged by their interplay with growers, on (growers - 1)(treatments - 1)
degrees of freedom.
"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from analyses.comparison import Comparison
from analyses.estimate import Estimate
from trials.trial import Trial

__all__ = ["CELL", "GROWER", "by_grower", "grower_terms", "with_growers"]

GROWER = "grower"
CELL = "grower:treatment"


def with_growers(frame: pd.DataFrame, trial: Trial) -> pd.DataFrame:
    """Add the grower of each row, and the grower and treatment together.

    Parameters
    ----------
    frame : pandas.DataFrame
        Columns block and treatment.
    trial : Trial

    Returns
    -------
    pandas.DataFrame
        As it was where there is one grower.
    """
    if len(trial.design.growers) < 2:
        return frame
    growers = frame["block"].map(lambda block: trial.design.grower_of(block))
    return frame.assign(**{GROWER: growers, CELL: growers + ":" + frame["treatment"].astype(str)})


def grower_terms(frame: pd.DataFrame, unit: str) -> tuple[str, ...]:
    """Give the random terms of growers that these rows can carry.

    Parameters
    ----------
    frame : pandas.DataFrame
        From `with_growers`.
    unit : str
        What is counted: ``batch``, or the grower's word for a bag.

    Returns
    -------
    tuple of str
        Grower, where there are several; the interplay with treatments where a grower has a
        treatment more than once. Where each has it once, that interplay is the residual.
    """
    if GROWER not in frame or frame[GROWER].nunique() < 2:
        return ()
    cells = frame.groupby(CELL)
    counts = cells["batch"].nunique() if unit == "batch" else cells.size()
    return (GROWER, CELL) if counts.max() > 1 else (GROWER,)


def by_grower(answer: Comparison) -> Comparison:
    """Count growers, not bags, where several took part.

    Parameters
    ----------
    answer : Comparison
        By a model that holds growers, so that its intervals are right as they are.
    """
    if answer.sample is None or GROWER not in answer.sample.random:
        return answer
    return replace(
        answer, estimates=tuple(_counted(one, answer.sample.frame) for one in answer.estimates)
    )


def _counted(one: Estimate, frame: pd.DataFrame) -> Estimate:
    both = [set(frame.loc[frame["treatment"] == code, GROWER])
            for code in (one.treatment, one.control)]  # fmt: skip
    return replace(one, unit_counted=GROWER, units=len(both[0] & both[1]))
