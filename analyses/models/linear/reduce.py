"""Make the columns of the fixed part orthonormal and sum the data up once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analyses.models.linear.arrays import Array, Codes, FitError
from analyses.models.linear.basis import written
from analyses.models.linear.design import Design
from analyses.models.linear.general import General, within_levels
from analyses.models.linear.groups import Grouping
from analyses.models.linear.moments import Structure
from analyses.models.linear.nested import Nested
from analyses.models.linear.separate import Places, Separate, separate_places

__all__ = ["Columns", "reduce_design", "sum_up"]

_DEPENDENT = 1e-10  # a column this close to the span of those before it adds nothing
_CHUNK = 1 << 14  # levels of the inner term that are summed at a time


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """The fixed part as orthonormal columns Q and the response as what they leave.

    X[:, kept] = Q R. REML does not change when X b is taken from the response, so the response
    is replaced by its residuals from least squares, scaled to variance 1: what is left to do is
    well conditioned whatever the units.

    Attributes
    ----------
    kept : array of int, shape (p,)
        Columns of X that are independent of those before them.
    null : array, shape (columns, columns - p)
        Orthonormal combinations of the coefficients that the data say nothing about.
    q_rows : array, shape (cells, p) or (n, p)
        Distinct rows of Q.
    r_inverse : array, shape (p, p)
        Inverse of R.
    log_det_r : float
        Logarithm of the absolute determinant of R.
    start : array, shape (p,)
        Least-squares coefficients of the columns of Q.
    middle : float
        Constant taken from the response beforehand; belongs to the intercept.
    scale : float
        Residual standard deviation of least squares.
    leftover : array, shape (n,)
        Residuals of least squares divided by `scale`.
    """

    kept: Codes
    null: Array
    q_rows: Array
    r_inverse: Array
    log_det_r: float
    start: Array
    middle: float
    scale: float
    leftover: Array


def reduce_design(design: Design) -> Columns:
    """Orthonormalise the fixed part and take least squares out of the response.

    Raises
    ------
    FitError
        If no row is left to estimate an error from, or nothing varies.
    """
    x, cells, y = design.cell_rows, design.cells, design.response
    weight = np.ones(len(x)) if cells is None else np.sqrt(np.bincount(cells, minlength=len(x)))
    kept, q, r = _independent(x * weight[:, None])
    if len(y) <= len(kept):
        message = (
            f"{len(y)} rows cannot tell {len(kept)} means apart and leave an error: "
            "there must be more rows than means"
        )
        raise FitError(message)
    q_rows = q / weight[:, None]
    middle = float(y[0]) if design.basis.intercept else 0.0  # exact digits for a level far off
    start, left = _least_squares(q_rows, cells, y - middle)
    square = float(left @ left)
    spread = float(np.abs(y).max())
    if square <= len(y) * (1e-14 * spread) ** 2:
        message = "the fixed part fits every row exactly: nothing varies, so there is no error"
        raise FitError(message)
    scale = np.sqrt(square / (len(y) - len(kept)))
    return Columns(
        kept=kept,
        null=_null_space(x * weight[:, None], len(kept)),
        q_rows=q_rows,
        r_inverse=np.asarray(np.linalg.solve(r, np.eye(len(kept))), float),
        log_det_r=float(np.log(np.abs(np.diag(r))).sum()),
        start=start,
        middle=middle,
        scale=float(scale),
        leftover=left / scale,
    )


def _independent(x: Array) -> tuple[Codes, Array, Array]:
    """Keep each column that is not a combination of kept ones before it."""
    length = np.sqrt((x * x).sum(0))
    kept = np.flatnonzero(length > 0)
    while True:
        q, r = np.linalg.qr(x[:, kept])
        size = np.abs(np.diag(r))
        dependent = np.flatnonzero(size <= _DEPENDENT * length[kept][: len(size)])
        if len(dependent):
            kept = np.delete(kept, dependent[0])
        elif len(size) < len(kept):
            kept = kept[: len(size)]
        else:
            return kept, q, r


def _null_space(x: Array, rank: int) -> Array:
    if rank == x.shape[1]:
        return np.zeros((x.shape[1], 0))
    length = np.sqrt((x * x).sum(0))
    length[length == 0] = 1.0
    _, _, vt = np.linalg.svd(np.linalg.qr(x / length, mode="r"), full_matrices=True)
    null = vt[rank:].T / length[:, None]
    return np.asarray(np.linalg.qr(null)[0])


def _least_squares(q_rows: Array, cells: Codes | None, y: Array) -> tuple[Array, Array]:
    """Fit again to the residuals of the fit before, to lose no digits."""
    start, left = np.zeros(q_rows.shape[1]), y
    for _ in range(3):
        more = q_rows.T @ _sum(cells, left, len(q_rows))
        left = left - _spread(cells, q_rows @ more)
        start = start + more
    return start, left


def _sum(cells: Codes | None, values: Array, count: int) -> Array:
    return values if cells is None else np.asarray(np.bincount(cells, values, count), float)


def _spread(cells: Codes | None, values: Array) -> Array:
    return values if cells is None else values[cells]


def sum_up(design: Design, columns: Columns) -> Structure:
    """Sum the data up over the levels of the random terms, once for the whole fit."""
    random = sorted(design.random, key=lambda one: -one.count)
    for term in random:
        if term.count == len(design.response):
            message = (
                f"every row is a level of its own of '{term.name}', so its variance cannot be "
                "told from the residual: leave it out"
            )
            raise FitError(message)
    if design.residual is None and _is_nested(random):
        return _sum_nested(design, columns, random)
    places = separate_places(random) if design.residual is None else None
    if places is not None:
        return _sum_separate(design, columns, random, places)
    return _sum_general(design, columns, random)


def _is_nested(random: list[Grouping]) -> bool:
    if len(random) < 2:
        return True
    if len(random) > 2:
        return False
    inner, outer = random
    parent = np.empty(inner.count, np.intp)
    parent[inner.codes] = outer.codes
    return bool((parent[inner.codes] == outer.codes).all())


def _level_sums(design: Design, columns: Columns, codes: Codes, count: int) -> Array:
    """Sum the columns of [Q y] over the rows of each code, shape (count, p + 1)."""
    return np.vstack(list(_sum_pieces(design, columns, codes, count)))


def _sum_pieces(design: Design, columns: Columns, codes: Codes, count: int) -> Iterator[Array]:
    """Give the sums over the rows of each code, some thousand codes at a time."""
    q, cells = columns.q_rows, design.cells
    left = np.bincount(codes, columns.leftover, count)
    if cells is None:
        parts = [np.bincount(codes, column, count) for column in q.T]
        yield np.column_stack([*parts, left])
        return
    table = np.bincount(codes * len(q) + cells, minlength=count * len(q)).reshape(count, len(q))
    for low in range(0, count, _CHUNK):
        piece = table[low : low + _CHUNK] @ q
        yield np.column_stack([piece, left[low : low + _CHUNK]])


def _within(design: Design, columns: Columns, inner: Grouping | None, squares: Array) -> Array:
    """Give D'D of the deviations of D = [Q y] from its means over units.

    Only the response can differ hugely between units, so only it is centred row by row.
    squares: sum over units of the outer product of their column sums, each over its size.
    """
    p = columns.q_rows.shape[1]
    left = columns.leftover
    if inner is not None:
        rows = np.bincount(inner.codes, minlength=inner.count)
        left = left - (np.bincount(inner.codes, left, inner.count) / rows)[inner.codes]
    within = np.eye(p + 1) - squares
    inner_qy = columns.q_rows.T @ _sum(design.cells, left, len(columns.q_rows))
    within[:p, p] = within[p, :p] = inner_qy
    within[p, p] = left @ left
    return within


def _sum_nested(design: Design, columns: Columns, random: list[Grouping]) -> Nested:
    width = columns.q_rows.shape[1] + 1
    names = (*(term.name for term in random), "residual")
    none = Nested(
        names=names,
        rows=len(design.response),
        within=_within(design, columns, None, np.zeros((width, width))),
        sizes=np.zeros(0),
        units=np.zeros(0),
        unit_squares=np.zeros((0, width, width)),
        block_units=np.zeros((0, 0)),
        block_sums=np.zeros((0, 0, width)),
    )
    if not random:
        return none
    inner = random[0]
    rows = np.bincount(inner.codes, minlength=inner.count)
    by_size = np.bincount(rows)
    sizes = np.flatnonzero(by_size)
    kind = np.zeros(len(by_size), np.intp)
    kind[sizes] = np.arange(len(sizes))
    kind = kind[rows]
    squares = _squares_by_kind(design, columns, inner, kind, len(sizes))
    blocks = random[1].count if len(random) == 2 else 0
    block_units, block_sums = np.zeros((0, len(sizes))), np.zeros((0, len(sizes), width))
    if blocks:
        outer = random[1].codes
        parent = np.empty(inner.count, np.intp)
        parent[inner.codes] = outer
        flat = blocks * len(sizes)
        block_units = np.bincount(parent * len(sizes) + kind, minlength=flat).astype(float)
        of_row = outer * len(sizes) + kind[inner.codes]
        block_sums = _level_sums(design, columns, of_row, flat).reshape(blocks, -1, width)
    return Nested(
        names=names,
        rows=none.rows,
        within=_within(design, columns, inner, (squares / sizes[:, None, None]).sum(0)),
        sizes=sizes.astype(float),
        units=by_size[sizes].astype(float),
        unit_squares=squares,
        block_units=block_units.reshape(blocks, len(sizes)),
        block_sums=block_sums,
    )


def _squares_by_kind(
    design: Design, columns: Columns, inner: Grouping, kind: Codes, kinds: int
) -> Array:
    """Sum the outer products of the unit sums over units of one size."""
    width = columns.q_rows.shape[1] + 1
    squares = np.zeros((kinds, width, width))
    low = 0
    for sums in _sum_pieces(design, columns, inner.codes, inner.count):
        here = kind[low : low + len(sums)]
        for k in range(kinds):
            chosen = sums[here == k] if kinds > 1 else sums
            squares[k] += chosen.T @ chosen
        low += len(sums)
    return squares


def _sum_separate(
    design: Design, columns: Columns, random: list[Grouping], places: Places
) -> Separate:
    widths, groups = places.widths, places.groups
    starts = np.cumsum(widths) - widths
    m = sum(widths)
    counts = np.zeros((groups, m, m))
    sums = np.zeros((groups, m, columns.q_rows.shape[1] + 1))
    for i, (one, wide) in enumerate(zip(places.local, widths, strict=True)):
        rows = slice(starts[i], starts[i] + wide)
        level = places.group * wide + one
        sums[:, rows] = _level_sums(design, columns, level, groups * wide).reshape(groups, wide, -1)
        for j, (other, broad) in enumerate(zip(places.local, widths, strict=True)):
            pairs = np.bincount(level * broad + other, minlength=groups * wide * broad)
            square = pairs.reshape(groups, wide, broad)
            counts[:, rows, starts[j] : starts[j] + broad] = square
    everything = np.ones(len(design.response), bool)
    return Separate(
        names=(*(term.name for term in random), "residual"),
        rows=len(design.response),
        widths=widths,
        counts=counts,
        sums=sums,
        total=_own_total(design, columns, everything),
    )


def _sum_general(design: Design, columns: Columns, random: list[Grouping]) -> General:
    residual = design.residual
    rows = len(design.response)
    group = np.zeros(rows, np.intp) if residual is None else residual.codes
    groups = 1 if residual is None else residual.count
    first, others = random[:1], random[1:]
    edges = np.concatenate([[0], np.cumsum([term.count for term in others])]).astype(int)
    width = int(edges[-1]) + columns.q_rows.shape[1] + 1
    total = np.zeros((groups, width, width))
    for at, (start, end) in enumerate(pairwise(edges.tolist())):
        codes = group * (end - start) + others[at].codes
        block = _u_sums(design, columns, codes, groups * (end - start), others)
        total[:, start:end] = block.reshape(groups, end - start, width)
    for g in range(groups):
        total[g, edges[-1] :, : edges[-1]] = total[g, : edges[-1], edges[-1] :].T
        total[g, edges[-1] :, edges[-1] :] = _own_total(design, columns, group == g)
    q = first[0].count if first else 0
    counts, sums = np.zeros((groups, q)), np.zeros((groups, q, width))
    if first:
        codes = group * q + first[0].codes
        counts = np.bincount(codes, minlength=groups * q).reshape(groups, q).astype(float)
        sums = _u_sums(design, columns, codes, groups * q, others).reshape(groups, q, -1)
    labels = (
        ["residual"] if residual is None else [f"residual[{written(x)}]" for x in residual.levels]
    )
    group_rows = np.bincount(group, minlength=groups).astype(float)
    return General(
        names=(*(term.name for term in random), *labels),
        rows=rows,
        residuals=groups,
        edges=tuple(int(edge) for edge in edges),
        group_rows=group_rows,
        total=total,
        within=within_levels(group_rows, total, counts, sums),
        counts=counts,
        sums=sums,
    )


def _u_sums(
    design: Design,
    columns: Columns,
    codes: Codes,
    count: int,
    others: list[Grouping],
) -> Array:
    """Sum the columns of U = [Z_2 .. Z_r Q y] over the rows of each code."""
    parts = [
        np.bincount(codes * term.count + term.codes, minlength=count * term.count).reshape(
            count, -1
        )
        for term in others
    ]
    return np.hstack([*parts, _level_sums(design, columns, codes, count)])


def _own_total(design: Design, columns: Columns, chosen: Array) -> Array:
    q = columns.q_rows if design.cells is None else columns.q_rows[design.cells]
    own = np.column_stack([q, columns.leftover])[chosen]
    return np.asarray(own.T @ own)
