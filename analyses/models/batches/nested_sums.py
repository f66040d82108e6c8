"""The sums through which many trials of one design enter their likelihoods.

Write D = [U y] for the fixed columns and the response. The likelihood of a nested model needs D'D,
for the innermost term the sum of s s' over its groups of each size (s the sum of D's rows in a
group), and for every group of the next term the sum of s by size. All arrays have the trials in
their last axis, so that each operation runs over many trials at once.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from analyses.models.batches.nested_design import NestedDesign
from analyses.models.numerics.jets import Array

__all__ = ["TrialSums", "fixed_products", "sum_trials"]


_ROWS_AT_ONCE = 100_000  # whose products are kept at once


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialSums:
    """Sums of D = [U y], with K sizes, G groups, q = rank + 1 columns.

    Parameters
    ----------
    rows
        Rows present, shape (trials,).
    sizes
        The sizes in use, shape (K, 1).
    cross
        D'D, shape (q, q, trials).
    size_cross
        Sum of s s' over innermost groups of each size, shape (K, q, q, trials); empty when the
        innermost term is kept group by group.
    size_counts
        Number of innermost groups of each size, shape (K, trials).
    group_sums
        Sum of s by group and size, shape (G, K, q, trials).
    group_counts
        Number of members by group and size, shape (G, K, trials).
    """

    rows: Array
    sizes: Array
    cross: Array
    size_cross: Array
    size_counts: Array
    group_sums: Array
    group_counts: Array

    def of(self, trials: npt.NDArray[np.bool_] | npt.NDArray[np.intp]) -> TrialSums:
        """Keep some of the trials."""
        kept = {f.name: getattr(self, f.name) for f in fields(self)}
        return TrialSums(**{k: v if k == "sizes" else v[..., trials] for k, v in kept.items()})


def sum_trials(
    design: NestedDesign, response: Array, present: Array, fixed: Array | None = None
) -> TrialSums:
    """Sum the rows of each trial.

    Parameters
    ----------
    design
        The design with its rows in order.
    response
        Rows in the design's order, 0 where missing, shape (rows, trials).
    present
        1 where the row is present, else 0, shape (rows, trials).
    fixed
        What `fixed_products` gives, when it is known already.
    """
    fixed = fixed_products(design, present) if fixed is None else fixed
    parts = (_by_size if design.compressed else _by_group)(design, response, present)
    sizes, size_cross, size_counts, group_sums, group_counts = parts
    return TrialSums(
        rows=present.sum(axis=0),
        sizes=sizes,
        cross=_cross_products(design.basis, response, fixed),
        size_cross=size_cross,
        size_counts=size_counts,
        group_sums=group_sums,
        group_counts=group_counts,
    )


def fixed_products(design: NestedDesign, present: Array) -> Array:
    """Give U'U over the rows present, shape (rank, rank, trials)."""
    rank = design.basis.shape[1]
    products = np.zeros((rank * rank, present.shape[1]))
    for start in range(0, len(present), _ROWS_AT_ONCE):
        some = slice(start, start + _ROWS_AT_ONCE)
        products += _outer_rows(design.basis[some]).T @ present[some]
    return products.reshape(rank, rank, -1)


def _outer_rows(rows: Array) -> Array:
    """Give x x' of each row, flattened, shape (rows, rank * rank)."""
    outer: Array = np.einsum("ir,is->irs", rows, rows)
    return outer.reshape(len(rows), -1)


def _cross_products(basis: Array, response: Array, fixed: Array) -> Array:
    """Give D'D of each trial, shape (q, q, trials)."""
    rank, trials = basis.shape[1], response.shape[1]
    cross = np.empty((rank + 1, rank + 1, trials))
    cross[:rank, :rank] = fixed
    cross[:rank, rank] = cross[rank, :rank] = basis.T @ response
    cross[rank, rank] = np.einsum("rt,rt->t", response, response)
    return cross


def _by_group(
    design: NestedDesign, response: Array, present: Array
) -> tuple[Array, Array, Array, Array, Array]:
    """Sum rows over the groups of the innermost term; every member has size one."""
    basis, trials = design.basis, response.shape[1]
    rank = basis.shape[1]
    starts = design.member_starts[0] if design.member_starts else np.zeros(0, np.intp)
    sums = np.empty((len(starts), 1, rank + 1, trials))
    counts = np.empty((len(starts), 1, trials))
    ends = [*starts[1:], len(basis)] if len(starts) else []
    for group, (start, end) in enumerate(zip(starts, ends, strict=True)):
        sums[group, 0, :rank] = basis[start:end].T @ present[start:end]
        sums[group, 0, rank] = response[start:end].sum(axis=0)
        counts[group, 0] = present[start:end].sum(axis=0)
    nothing = np.zeros((0, rank + 1, rank + 1, trials))
    return np.ones((1, 1)), nothing, np.zeros((0, trials)), sums, counts


@dataclass(frozen=True, slots=True)
class _Bags:
    """The innermost groups of a chunk: their rows present, sums and places."""

    totals: Array  # sum of the response, (bags, trials)
    counts: npt.NDArray[np.intp]  # rows present, (bags, trials)
    whole: npt.NDArray[np.bool_]  # no row missing, (bags, trials)
    sizes: npt.NDArray[np.intp]  # rows in the complete design, (bags,)
    group: npt.NDArray[np.intp]  # which group of the next term, (bags,)
    partial: tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]  # bag and trial, each (cases,)
    partial_sums: Array  # their s, (cases, q)


def _bags(design: NestedDesign, response: Array, present: Array) -> _Bags:
    """Sum the response over bags, and D over the bags that lost some of their rows."""
    starts = design.row_starts[0]
    totals = np.add.reduceat(response, starts, axis=0)
    counts = np.rint(np.add.reduceat(present, starts, axis=0)).astype(np.intp)
    sizes = design.group_sizes[0]
    whole = counts == sizes[:, None]
    bag, trial = np.nonzero((counts > 0) & ~whole)
    members = design.member_starts[0] if design.member_starts else np.zeros(1, np.intp)
    group = np.repeat(np.arange(len(members)), np.diff(members, append=len(sizes)))
    rank = design.basis.shape[1]
    sums = np.zeros((len(bag), rank + 1))
    for slot in range(int(sizes.max(initial=0))):
        row = np.minimum(starts[bag] + slot, len(present) - 1)
        there = present[row, trial] * (slot < sizes[bag])
        sums[:, :rank] += there[:, None] * design.basis[row]
    sums[:, rank] = totals[bag, trial]
    return _Bags(totals, counts, whole, sizes, group, (bag, trial), sums)


def _by_size(
    design: NestedDesign, response: Array, present: Array
) -> tuple[Array, Array, Array, Array, Array]:
    """Sum the innermost groups by their size: whole ones by matrix products, others one by one."""
    bags = _bags(design, response, present)
    used = np.unique(bags.counts[bags.counts > 0])
    sizes = used if len(used) else np.ones(1, np.intp)
    groups = int(bags.group.max(initial=0)) + 1 if design.member_starts else 0
    rank, trials = design.basis.shape[1], response.shape[1]
    size_cross = np.zeros((len(sizes), rank + 1, rank + 1, trials))
    group_sums = np.zeros((groups, len(sizes), rank + 1, trials))
    _add_whole(design, bags, sizes, size_cross, group_sums)
    _add_partial(bags, sizes, size_cross, group_sums)
    present_by_size = [(bags.counts == size).astype(float) for size in sizes]
    size_counts = np.stack([one.sum(axis=0) for one in present_by_size])
    if groups:
        runs = design.member_starts[0]
        group_counts = np.stack(
            [np.add.reduceat(one, runs, axis=0) for one in present_by_size], axis=1
        )
    else:
        group_counts = np.zeros((0, len(sizes), trials))
    return sizes[:, None].astype(float), size_cross, size_counts, group_sums, group_counts


def _add_whole(
    design: NestedDesign,
    bags: _Bags,
    sizes: npt.NDArray[np.intp],
    size_cross: Array,
    group_sums: Array,
) -> None:
    """Add the bags without a loss: their fixed part is the same in every trial."""
    fixed = np.add.reduceat(design.basis, design.row_starts[0], axis=0)
    rank, trials = fixed.shape[1], bags.totals.shape[1]
    for k, size in enumerate(sizes):
        chosen = np.flatnonzero(bags.sizes == size)
        if not len(chosen):
            continue
        x, there = fixed[chosen], bags.whole[chosen].astype(float)
        y = bags.totals[chosen] * there
        size_cross[k, :rank, :rank] += (_outer_rows(x).T @ there).reshape(rank, rank, trials)
        xy = x.T @ y
        size_cross[k, :rank, rank] += xy
        size_cross[k, rank, :rank] += xy
        size_cross[k, rank, rank] += np.einsum("it,it->t", y, y)
        for group in range(len(group_sums)):
            inside = np.flatnonzero(bags.group[chosen] == group)
            group_sums[group, k, :rank] += x[inside].T @ there[inside]
            group_sums[group, k, rank] += y[inside].sum(axis=0)


def _add_partial(
    bags: _Bags, sizes: npt.NDArray[np.intp], size_cross: Array, group_sums: Array
) -> None:
    """Add the bags that lost some of their rows, those of one size and trial together."""
    bag, trial = bags.partial
    if not len(bag):
        return
    k = np.searchsorted(sizes, bags.counts[bag, trial])
    trials, columns = bags.totals.shape[1], bags.partial_sums.shape[1]
    key = k * trials + trial
    order = np.argsort(key, kind="stable")
    counts = np.bincount(key, minlength=len(sizes) * trials)
    place = np.arange(len(key)) - np.repeat(np.cumsum(counts) - counts, counts)
    stacked = np.zeros((len(counts), int(counts.max()), columns))
    stacked[key[order], place] = bags.partial_sums[order]
    cross = np.matmul(stacked.transpose(0, 2, 1), stacked)
    size_cross += cross.reshape(len(sizes), trials, columns, columns).transpose(0, 2, 3, 1)
    if len(group_sums):
        cell = (bags.group[bag] * len(sizes) + k) * trials + trial
        cells = len(group_sums) * len(sizes) * trials
        for column, values in enumerate(bags.partial_sums.T):
            sums = np.bincount(cell, weights=values, minlength=cells)
            group_sums[:, :, column] += sums.reshape(len(group_sums), len(sizes), trials)
