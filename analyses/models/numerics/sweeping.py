"""Solve many small symmetric systems at once by sweeping pivots (Goodnight 1979, section 3)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyses.models.numerics.jets import Array

__all__ = ["Swept", "sweep"]


@dataclass(frozen=True, slots=True)
class Swept:
    """What is left after sweeping the first pivots.

    Parameters
    ----------
    inverse
        Generalised inverse of the swept block, zero in rows and columns of skipped pivots, shape
        (pivots, pivots, trials).
    solution
        The swept block's solution for each further column, shape (pivots, others, trials).
    rest
        Schur complement of the swept block, shape (others, others, trials).
    log_determinant
        Sum of the logarithms of the pivots used, shape (trials,).
    kept
        Which pivots were used, shape (pivots, trials).
    coefficients
        For a skipped pivot j, entry [k, j] says how column j follows from column k, shape
        (pivots, pivots, trials); other entries mean nothing.
    """

    inverse: Array
    solution: Array
    rest: Array
    log_determinant: Array
    kept: npt.NDArray[np.bool_]
    coefficients: Array


def sweep(matrices: Array, pivots: int, tolerance: float = 0.0) -> Swept:
    """Sweep the first pivots of symmetric positive semidefinite matrices.

    Parameters
    ----------
    matrices
        Shape (size, size, trials).
    pivots
        How many leading pivots to sweep.
    tolerance
        A pivot below this share of its diagonal at the start follows from those before it and is
        skipped.
    """
    a = matrices.copy()
    trials = a.shape[2]
    floor = tolerance * a[np.arange(pivots), np.arange(pivots)]
    kept = np.zeros((pivots, trials), bool)
    log_determinant = np.zeros(trials)
    change = np.empty_like(a)
    for k in range(pivots):
        pivot = a[k, k]
        kept[k] = (pivot > floor[k]) & (pivot > 0)
        usable = np.where(kept[k], pivot, 1.0)
        log_determinant += np.log(usable)
        inverse = kept[k] / usable
        column = a[:, k].copy()
        row = a[k] * inverse
        np.multiply(column[:, None], row[None], out=change)
        a -= change
        if kept[k].all():
            a[k], a[:, k], a[k, k] = row, -column * inverse, inverse
        else:
            a[k] = np.where(kept[k], row, a[k])
            a[:, k] = np.where(kept[k], -column * inverse, a[:, k])
            a[k, k] = np.where(kept[k], inverse, a[k, k])
    block, both = a[:pivots, :pivots], kept[:, None] & kept[None]
    return Swept(
        inverse=block if kept.all() else np.where(both, block, 0.0),
        solution=a[:pivots, pivots:] * kept[:, None],
        rest=a[pivots:, pivots:],
        log_determinant=log_determinant,
        kept=kept,
        coefficients=block,
    )
