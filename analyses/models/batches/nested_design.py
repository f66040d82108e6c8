"""Put the rows of a nested design in order, once for all trials that share it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyses.models.numerics.jets import Array

__all__ = ["NestedDesign", "arrange"]

Index = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class NestedDesign:
    """A design with its rows sorted, so that each group is one run of rows.

    Random terms are numbered from the innermost (0) outwards.

    Parameters
    ----------
    order
        Which row of the caller stands where, shape (rows,).
    basis
        Orthonormal columns that span the design matrix, sorted rows, shape (rows, rank).
    into_basis
        Turns a contrast in the caller's coefficients into one in basis coefficients,
        shape (coefficients, rank).
    row_starts
        First row of each group, one array per random term, innermost first.
    member_starts
        First member of each group of a term that is kept group by group, innermost first; the
        members are bags or rows for the first of them, groups of the term before for the others.
    compressed
        Whether the innermost term is kept as sums by group size instead of group by group.
    """

    order: Index
    basis: Array
    into_basis: Array
    row_starts: tuple[Index, ...]
    member_starts: tuple[Index, ...]
    compressed: bool

    @property
    def terms(self) -> int:
        """Number of random terms."""
        return len(self.row_starts)

    @property
    def group_sizes(self) -> tuple[Index, ...]:
        """Rows in each group of the complete design, innermost term first."""
        rows = len(self.order)
        return tuple(np.diff(starts, append=rows) for starts in self.row_starts)


def _orthonormal(design: Array) -> tuple[Array, Array]:
    """Split the design matrix X = U T into orthonormal columns and their coordinates."""
    scale = np.abs(design).max(axis=0, initial=0.0)
    scale[scale == 0] = 1.0
    left, singular, right = np.linalg.svd(design / scale, full_matrices=False)
    rank = int((singular > singular.max(initial=0.0) * 1e-11).sum())
    return left[:, :rank], (right[:rank].T / singular[:rank]) / scale[:, None]


def _sorted_codes(groups: Mapping[str, npt.ArrayLike]) -> tuple[Index, list[Index]]:
    """Sort rows by the outermost factor first; give the order and the group starts."""
    codes = [np.unique(np.asarray(one), return_inverse=True)[1] for one in groups.values()]
    order = np.lexsort(codes[::-1])
    starts = []
    fresh = np.zeros(len(order), bool)
    fresh[:1] = True
    for code in codes:
        fresh = fresh.copy()
        fresh[1:] |= np.diff(code[order]) != 0
        starts.append(np.flatnonzero(fresh))
    return order, starts[::-1]


def arrange(
    design: Array, groups: Mapping[str, npt.ArrayLike], *, compress: bool | None = None
) -> NestedDesign:
    """Sort the rows of a design by its nested random terms.

    Parameters
    ----------
    design
        Fixed part, shape (rows, coefficients).
    groups
        Labels of each random term, outermost first, each of shape (rows,). A label counts
        within the terms before it: bag 1 of block A is not bag 1 of block B.
    compress
        Keep the innermost term as sums by group size; None chooses the cheaper way.
    """
    if groups:
        order, row_starts = _sorted_codes(groups)
    else:
        order, row_starts = np.arange(len(design)), []
    if compress is None:
        sizes = np.diff(row_starts[0], append=len(order)) if row_starts else np.zeros(0, int)
        compress = len(sizes) > sizes.max(initial=0)
    compress = bool(compress and row_starts)
    kept = row_starts[1:] if compress else row_starts
    lower = [row_starts[0] if compress else np.arange(len(order)), *kept]
    members = tuple(
        np.searchsorted(below, above) for below, above in zip(lower, kept, strict=False)
    )
    basis, into_basis = _orthonormal(design)
    return NestedDesign(
        order=order,
        basis=basis[order],
        into_basis=into_basis,
        row_starts=tuple(row_starts),
        member_starts=members,
        compressed=compress,
    )
