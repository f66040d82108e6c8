"""Rehearsed yields whose random terms cross each other: one fit a trial, without any tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyses.comparison import DF_METHOD, Sample
from analyses.layouts.growers import CELL
from analyses.models.linear.arrays import FitError
from analyses.rehearsing.fit import (
    Compared,
    Limits,
    Rows,
    limits_of,
    nothing_yet,
    usable_treatments,
)
from analyses.rehearsing.yields import control_first, pieces
from trials.records import Records
from trials.simulate import Simulated

__all__ = ["ByCrossedModel", "by_crossed_model"]

Array: TypeAlias = npt.NDArray[np.float64]
Index: TypeAlias = npt.NDArray[np.intp]
Words: TypeAlias = npt.NDArray[np.str_]


@dataclass(frozen=True, slots=True, kw_only=True)
class ByCrossedModel:
    """Yield per unit started by REML with Kenward-Roger inference, one trial after another.

    Parameters
    ----------
    rows : Rows
        The units of the layout.
    terms : tuple of (str, array)
        Random terms and their labels, shape (units,).
    level : float
        Confidence for all comparisons together.
    """

    rows: Rows
    terms: tuple[tuple[str, Words], ...]
    level: float

    def chunk(self, simulated: Simulated) -> dict[str, Array]:
        """Fit some trials.

        Parameters
        ----------
        simulated : Simulated
        """
        responses = simulated.totals
        usable = usable_treatments(responses, self.rows)
        compared = nothing_yet(responses, self.rows)
        for which in range(responses.shape[1]):
            chosen = np.flatnonzero(usable[:, which])
            if len(chosen):
                self._fill(compared, responses[:, which], chosen, which)
        return pieces(compared)

    def finish(self, parts: dict[str, Array]) -> Limits:
        """Give the intervals of all trials.

        Parameters
        ----------
        parts : dict of str to array
            Of all chunks, the trials behind each other.
        """
        return limits_of(Compared(**parts), self.level)

    def _fill(self, compared: Compared, response: Array, chosen: Index, which: int) -> None:
        from analyses.models.mixed import fit_mixed

        kept = np.isfinite(response) & np.isin(self.rows.treatment, [0, *(chosen + 1)])
        names = np.array([f"{number:04d}" for number in range(self.rows.treatments)])
        columns = {"response": response[kept], "treatment": names[self.rows.treatment[kept]]}
        columns |= {name: labels[kept] for name, labels in self.terms}
        random = [name for name, _ in self.terms if _varies(name, columns[name])]
        try:
            fit = fit_mixed(columns, "response", "treatment", random)
        except FitError:
            return
        rows = np.asarray(fit.basis.rows({"treatment": [names[0], *names[chosen + 1]]}))
        weights = rows[1:] - rows[0]
        covariance = weights @ fit.covariance_under(DF_METHOD) @ weights.T
        value, df = weights @ fit.coefficients, fit.df(weights, DF_METHOD)
        good = fit.estimable(weights) & np.isfinite(value + df + np.diag(covariance))
        of = chosen[good]
        compared.value[of, which], compared.df[of, which] = value[good], df[good]
        compared.covariance[np.ix_(of, of, [which])] = covariance[np.ix_(good, good)][..., None]
        compared.control[which] = float(rows[0] @ fit.coefficients)


def _varies(name: str, labels: Words) -> bool:
    """Say whether rows can carry a random term, by the rules of `analyses.yields.random_terms`."""
    levels = len(np.unique(labels))
    return levels > 1 and (name != CELL or levels < len(labels))


def by_crossed_model(records: Records, sample: Sample, *, level: float) -> ByCrossedModel:
    """Plan the analysis of yields one trial after another.

    Parameters
    ----------
    records : Records
        Of one simulated trial in which every unit has a total.
    sample : Sample
        The rows that its yields are compared by.
    level : float
        Confidence for all comparisons together.
    """
    frame = sample.frame
    by_batch = sample.counted == "batch"
    batches = np.unique(frame["batch"].to_numpy(str), return_inverse=True)[1]
    return ByCrossedModel(
        rows=Rows(treatment=control_first(records), clusters=batches if by_batch else None),
        terms=tuple((term, frame[term].to_numpy(str)) for term in sample.random),
        level=level,
    )
