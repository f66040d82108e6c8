"""First guesses of variances from sums of squares (Henderson 1953, method 1, on residuals)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analyses.models.batches.nested_design import NestedDesign
from analyses.models.numerics.jets import Array

__all__ = ["expected_squares", "observed_squares", "starting_ratios"]

_LARGEST = 20_000_000  # rows x groups up to which expectations are worked out


def observed_squares(
    design: NestedDesign, residual: Array, present: Array
) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Give residual sums of squares between the groups of each term, and in all.

    Parameters
    ----------
    design
        The design.
    residual
        Least-squares residuals in the design's order, 0 where missing, shape (rows, trials).
    present
        1 where present, shape (rows, trials).

    Returns
    -------
    squares
        Shape (terms + 1, trials), innermost term first, the total last.
    doubled
        Terms whose groups are, in this trial, those of the term outside or single rows, so that
        its variance cannot be told from the other, shape (terms, trials).
    """
    squares = np.empty((design.terms + 1, residual.shape[1]))
    occupied = np.empty((design.terms, residual.shape[1]))
    for term, starts in enumerate(design.row_starts):
        sums = np.add.reduceat(residual, starts, axis=0)
        counts = np.add.reduceat(present, starts, axis=0)
        occupied[term] = np.count_nonzero(counts, axis=0)
        squares[term] = np.einsum("gt,gt->t", sums, sums / np.maximum(counts, 1.0))
    squares[-1] = np.einsum("rt,rt->t", residual, residual)
    doubled = np.zeros(occupied.shape, bool)
    doubled[:-1] = occupied[:-1] == occupied[1:]
    if design.terms:
        doubled[0] |= occupied[0] == present.sum(axis=0)
    return squares, doubled


def expected_squares(design: NestedDesign) -> Array:
    """Give what each unit variance adds to `observed_squares` when no row is missing.

    Returns
    -------
    Array
        Shape (terms + 1, terms + 1): squares down, variances across, the residual's last. The
        identity for designs too large to work it out.
    """
    rows, terms = len(design.order), design.terms
    if sum(len(starts) for starts in design.row_starts) * rows > _LARGEST:
        return np.eye(terms + 1)
    expected = np.empty((terms + 1, terms + 1))
    basis, sizes = design.basis, design.group_sizes
    for across, starts in enumerate(design.row_starts):
        groups = np.repeat(np.arange(len(starts)), sizes[across])
        indicator = (groups[:, None] == np.arange(len(starts))).astype(float)
        left = indicator - basis @ (basis.T @ indicator)
        for down, runs in enumerate(design.row_starts):
            sums = np.add.reduceat(left, runs, axis=0)
            expected[down, across] = (sums**2 / sizes[down][:, None]).sum()
        expected[terms, across] = (left**2).sum()
    for down, runs in enumerate(design.row_starts):
        sums = np.add.reduceat(basis, runs, axis=0)
        expected[down, terms] = len(runs) - (sums**2 / sizes[down][:, None]).sum()
    expected[terms, terms] = rows - basis.shape[1]
    return expected


def starting_ratios(squares: Array, expected: Array) -> Array:
    """Solve expected = observed sums of squares and give variances over the residual's.

    Parameters
    ----------
    squares
        Observed sums of squares, shape (terms + 1, trials).
    expected
        Their expectations by unit variance, shape (terms + 1, terms + 1).

    Returns
    -------
    Array
        Shape (terms, trials), none below zero.
    """
    variances = np.linalg.lstsq(expected, squares, rcond=None)[0]
    least = 1e-3 * squares[-1] / max(expected[-1, -1], 1.0)
    residual = np.maximum(np.maximum(variances[-1], least), 1e-300)
    ratios: Array = np.clip(variances[:-1] / residual, 0.0, 1e4)
    return ratios
