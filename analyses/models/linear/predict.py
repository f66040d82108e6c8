"""Best linear unbiased predictions of the levels of random terms."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from analyses.models.linear.arrays import Array
from analyses.models.linear.design import Design
from analyses.models.linear.groups import Grouping

__all__ = ["predict_levels"]


def predict_levels(design: Design, theta: Array, left: Array) -> dict[str, Array]:
    """Predict each level of each random term from what the fixed part leaves.

    The term with most levels is taken out analytically, the others are solved densely
    (Henderson 1975, Biometrics 31, 423-447).

    Parameters
    ----------
    design : Design
        The model.
    theta : array, shape (k,)
        Variances: random terms by falling number of levels, then residual ones.
    left : array, shape (n,)
        Response less its fixed part.
    """
    random = sorted(design.random, key=lambda one: -one.count)
    if not random:
        return {}
    residual = theta[len(random) :]
    weight = (
        np.full(len(left), 1 / residual[0])
        if design.residual is None
        else (1 / residual)[design.residual.codes]
    )
    first, others = random[0], random[1:]
    heavy = np.bincount(first.codes, weight, first.count)
    shrink = theta[0] / (1 + theta[0] * heavy)
    found = _solve_others(first, others, theta[1 : len(random)], weight, shrink, left)
    rest = left.copy()
    for term, effect in zip(others, found, strict=True):
        rest -= effect[term.codes]
    mine = shrink * np.bincount(first.codes, weight * rest, first.count)
    return dict(zip((term.name for term in random), (mine, *found), strict=True))


def _solve_others(
    first: Grouping,
    others: list[Grouping],
    theta: Array,
    weight: Array,
    shrink: Array,
    left: Array,
) -> list[Array]:
    """Solve for all terms but the first, after taking the first out of the equations."""
    if not others:
        return []
    widths = [term.count for term in others]
    edges = np.concatenate([[0], np.cumsum(widths)])
    if len(others) == 1 and _is_within(first, others[0]):
        return [_solve_outer(first, others[0], theta[0], weight, shrink, left)]
    table = np.hstack(
        [
            np.bincount(first.codes * w + term.codes, weight, first.count * w).reshape(-1, w)
            for term, w in zip(others, widths, strict=True)
        ]
    )
    own = np.block(
        [
            [
                np.bincount(s.codes * t.count + t.codes, weight, s.count * t.count).reshape(
                    s.count, t.count
                )
                for t in others
            ]
            for s in others
        ]
    )
    m = own - table.T @ (shrink[:, None] * table)
    sums = np.concatenate([np.bincount(t.codes, weight * left, t.count) for t in others])
    sums -= table.T @ (shrink * np.bincount(first.codes, weight * left, first.count))
    root = np.sqrt(np.repeat(theta, widths))
    core = np.eye(len(root)) + root[:, None] * m * root
    solved = root * np.linalg.solve(core, root * sums)
    return [solved[i:j] for i, j in pairwise(edges)]


def _is_within(inner: Grouping, outer: Grouping) -> bool:
    parent = np.empty(inner.count, np.intp)
    parent[inner.codes] = outer.codes
    return bool((parent[inner.codes] == outer.codes).all())


def _solve_outer(
    inner: Grouping, outer: Grouping, theta: float, weight: Array, shrink: Array, left: Array
) -> Array:
    """Solve for blocks of units, where every block stands alone."""
    parent = np.empty(inner.count, np.intp)
    parent[inner.codes] = outer.codes
    heavy = np.bincount(inner.codes, weight, inner.count)
    sums = np.bincount(inner.codes, weight * left, inner.count)
    kept = 1 - shrink * heavy
    own = np.bincount(parent, kept * heavy, outer.count)
    return np.asarray(theta * np.bincount(parent, kept * sums, outer.count) / (1 + theta * own))
