"""Least-squares comparisons of labels for many layouts of the same responses at once.

Label code 0 is the one compared with, the last code the one compared; those between take part in
the fit. From q = sum of adjusted responses under each label and C = their information matrix
(the reduced normal equations, e.g. John & Williams 1995, Cyclic and Computer Generated Designs,
section 1.3) come the difference of the last label from the first, and the sum of squares
between all labels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyses.models.layouts.relabelling_sums import Codes
from analyses.models.numerics.jets import Array
from analyses.models.numerics.sweeping import sweep

__all__ = ["AdjustedLabels", "compare_labels", "orthonormal"]

_FOLLOWS = 1e-9  # share of a label's information below which it cannot be told from others


def compare_labels(sums: Array, information: Array, statistic: str) -> Array:
    """Give the statistic of each layout, NaN where the layout cannot tell the two labels apart.

    Parameters
    ----------
    sums
        q for labels 1, 2, ..., shape (labels - 1, layouts).
    information
        C for the same labels, shape (labels - 1, labels - 1, layouts) or with one layout for all.
    statistic
        "difference" of the last label from label 0, or sum of squares between "treatments".
    """
    labels, layouts = sums.shape
    system = np.zeros((labels + 1, labels + 1, layouts))
    system[:labels, :labels] = information
    system[:labels, labels] = system[labels, :labels] = sums
    solved = sweep(system, labels, _FOLLOWS)
    values: Array = solved.rest[0, 0]
    if statistic == "treatments":
        return -values
    return np.where(solved.kept[-1], solved.solution[-1, 0], np.nan)


def orthonormal(columns: Array) -> Array:
    """Give an orthonormal basis of the columns, shape (rows, rank)."""
    left, singular, _ = np.linalg.svd(columns, full_matrices=False)
    basis: Array = left[:, singular > singular.max(initial=0.0) * 1e-10]
    return basis


@dataclass(frozen=True, slots=True)
class AdjustedLabels:
    """The statistic for written-out layouts, adjusted for other columns.

    Parameters
    ----------
    residual
        Responses adjusted for the nuisance columns, present rows only, shape (rows,).
    basis
        Orthonormal nuisance columns, present rows only, shape (rows, rank).
    unit_of_row
        Which unit each row belongs to, shape (rows,).
    labels
        Number of labels.
    statistic
        "difference" or "treatments".
    """

    residual: Array
    basis: Array
    unit_of_row: npt.NDArray[np.intp]
    labels: int
    statistic: str

    def __call__(self, layouts: Codes) -> Array:
        """Give the statistic of each layout of unit codes, shape (layouts,)."""
        others = range(1, self.labels)
        by_row = layouts[:, self.unit_of_row]
        there = [(by_row == code).astype(float) for code in others]
        sums = np.stack([one @ self.residual for one in there])
        nuisance = [one @ self.basis for one in there]
        information = np.empty((len(there), len(there), len(layouts)))
        for i, one in enumerate(there):
            for j in range(i, len(there)):
                raw = one.sum(axis=1) if i == j else 0.0
                taken = np.einsum("lr,lr->l", nuisance[i], nuisance[j])
                information[i, j] = information[j, i] = raw - taken
        return compare_labels(sums, information, self.statistic)
