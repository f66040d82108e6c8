"""Rehearsed yields: the mixed model of the plan, for many trials at once."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyses.comparison import Sample
from analyses.layouts.growers import with_growers
from analyses.rehearsing.fit import Compared, Limits, Rows, compare_many, limits_of
from trials.records import Records
from trials.simulate import Simulated

__all__ = ["ByModel", "by_model", "control_first"]

Array: TypeAlias = npt.NDArray[np.float64]
Index: TypeAlias = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class ByModel:
    """Yield per unit started by REML with Kenward-Roger inference.

    Parameters
    ----------
    rows : Rows
        The units of the layout.
    level : float
        Confidence for all comparisons together.
    """

    rows: Rows
    level: float

    def chunk(self, simulated: Simulated) -> dict[str, Array]:
        """Fit some trials.

        Parameters
        ----------
        simulated : Simulated
        """
        return pieces(compare_many(simulated.totals, self.rows))

    def finish(self, parts: dict[str, Array]) -> Limits:
        """Give the intervals of all trials.

        Parameters
        ----------
        parts : dict of str to array
            Of all chunks, the trials behind each other.
        """
        return limits_of(Compared(**parts), self.level)


def pieces(compared: Compared) -> dict[str, Array]:
    """Give the arrays of a comparison by name."""
    return {
        "value": compared.value,
        "df": compared.df,
        "covariance": compared.covariance,
        "control": compared.control,
    }


def by_model(records: Records, sample: Sample, *, level: float) -> ByModel | None:
    """Plan the analysis of yields for many trials.

    Parameters
    ----------
    records : Records
        Of one simulated trial.
    sample : Sample
        The rows that its yields are compared by.
    level : float
        Confidence for all comparisons together.

    Returns
    -------
    ByModel or None
        None where the random terms are not nested in each other, as with rows and
        columns, or with growers and what each treatment gives at them.
    """
    bags = with_growers(records.bags, records.trial)
    labels = [(name, _codes(bags[name].to_numpy())) for name in sample.random]
    for (_, outer), (_, inner) in pairwise(labels):
        if any(len(np.unique(outer[inner == one])) > 1 for one in np.unique(inner)):
            return None
    by_batch = sample.counted == "batch"
    rows = Rows(
        treatment=control_first(records),
        groups=tuple(labels),
        clusters=_codes(bags["batch"].to_numpy()) if by_batch else None,
    )
    return ByModel(rows=rows, level=level)


def control_first(records: Records) -> Index:
    """Give the number of each unit's treatment, 0 the control and the others as in the plan."""
    trial = records.trial
    order = [trial.control.code, *(one.code for one in trial.challengers)]
    return np.array([order.index(code) for code in records.bags["treatment"]], np.intp)


def _codes(labels: npt.NDArray[np.object_]) -> Index:
    return np.unique(labels.astype(str), return_inverse=True)[1]
