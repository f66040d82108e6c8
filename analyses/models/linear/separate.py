"""Random terms that all lie within the levels of one of them, as blocks lie within growers.

Rows of different groups are then independent, so every product with the inverse of V is a sum over
groups, each with a small dense problem of its own: the cost grows with the number of groups, not
with its cube.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analyses.models.linear.arrays import Array, Codes
from analyses.models.linear.groups import Grouping
from analyses.models.linear.moments import Moments, with_residual

__all__ = ["Places", "Separate", "separate_places"]

_FEW = 64  # with fewer levels beside the first term one dense problem is as fast
_MOST = 20_000_000  # numbers that the dense problems of all groups may hold


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Where the levels of each random term stand within the groups.

    Attributes
    ----------
    groups : int
        How many groups there are.
    group : array of int, shape (n,)
        The group of each row.
    local : tuple of array of int, shape (n,)
        For each term, the number of the row's level within its group.
    widths : tuple of int
        For each term, the most levels that a group has.
    """

    groups: int
    group: Codes
    local: tuple[Codes, ...]
    widths: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Separate:
    """Sums over the levels of all random terms, group by group; levels that lack are zeros.

    Attributes
    ----------
    names : tuple of str
        The random terms in order, then the residual.
    rows : int
        Number of observations.
    widths : tuple of int
        Levels kept for each term in each group.
    counts : array, shape (groups, m, m)
        Z'Z of each group, m the sum of `widths`.
    sums : array, shape (groups, m, c)
        Z'D of each group, with D = [X y].
    total : array, shape (c, c)
        D'D.
    """

    names: tuple[str, ...]
    rows: int
    widths: tuple[int, ...]
    counts: Array
    sums: Array
    total: Array

    @property
    def residuals(self) -> int:
        """One residual variance."""
        return 1

    def moments(self, theta: Array) -> Moments:
        """Give the products at the variances theta.

        With V = e I + Z T Z', the inverse is (I - Z M Z')/e, M = T^1/2 (e I + T^1/2 Z'Z T^1/2)^-1
        T^1/2 (Searle, Casella & McCulloch 1992, Variance Components, appendix M.5).
        """
        e, root = theta[-1], np.sqrt(np.repeat(theta[:-1], self.widths))
        m = len(root)
        core = e * np.eye(m) + root[:, None] * self.counts * root
        lower = np.linalg.cholesky(core)
        log_det = 2 * float(np.log(np.diagonal(lower, axis1=1, axis2=2)).sum())
        log_det += (self.rows - len(self.counts) * m) * math.log(e)
        inverse = root[:, None] * np.linalg.inv(core) * root
        lean = inverse @ self.sums
        a = (self.total - _summed(self.sums, lean)) / e
        h = (self.sums - self.counts @ lean) / e
        k = (self.counts - self.counts @ inverse @ self.counts) / e
        return with_residual(theta, self.rows, log_det, self._products(a, h, k))

    def _products(self, a: Array, h: Array, k: Array) -> tuple[Array, Array, Array, Array, Array]:
        """Cut h = Z'inv(V)D and k = Z'inv(V)Z into their terms."""
        terms, c = len(self.widths), a.shape[0]
        ends = np.cumsum(self.widths)
        spans = [slice(end - width, end) for end, width in zip(ends, self.widths, strict=True)]
        traces, b = np.empty(terms), np.empty((terms, c, c))
        crossed, t = np.empty((terms, terms, c, c)), np.empty((terms, terms))
        for i, one in enumerate(spans):
            traces[i] = np.trace(k[:, one, one], axis1=1, axis2=2).sum()
            b[i] = _summed(h[:, one], h[:, one])
            for j, other in enumerate(spans[i:], start=i):
                block = k[:, one, other]
                crossed[i, j] = _summed(h[:, one], block @ h[:, other])
                crossed[j, i] = crossed[i, j].T
                t[i, j] = t[j, i] = (block * block).sum()
        return traces, a, b, crossed, t


def _summed(left: Array, right: Array) -> Array:
    """Sum left' right over groups."""
    flat = left.shape[0] * left.shape[1]
    return np.asarray(left.reshape(flat, -1).T @ right.reshape(flat, -1))


def separate_places(random: list[Grouping]) -> Places | None:
    """Find a term that all the others lie within, where that is worth using.

    Parameters
    ----------
    random : list of Grouping
        Three or more terms, those with most levels first.

    Returns
    -------
    Places or None
        None where no term holds all the others, where few levels make one dense problem cheap, or
        where one group is so large that room for the same in all would be too much.
    """
    outer = random[-1]
    if sum(term.count for term in random[1:]) < _FEW or outer.count < 2:
        return None
    local, widths = [], []
    for term in random:
        parent = np.empty(term.count, np.intp)
        parent[term.codes] = outer.codes
        if not (parent[term.codes] == outer.codes).all():
            return None
        number, width = _numbered_within(parent, outer.count)
        local.append(number[term.codes])
        widths.append(width)
    if outer.count * sum(widths) ** 2 > _MOST:
        return None
    return Places(groups=outer.count, group=outer.codes, local=tuple(local), widths=tuple(widths))


def _numbered_within(parent: Codes, groups: int) -> tuple[Codes, int]:
    """Give each level its number within its group, and the most levels that a group has."""
    order = np.argsort(parent, kind="stable")
    per_group = np.bincount(parent, minlength=groups)
    first = np.cumsum(per_group) - per_group
    number = np.empty(len(parent), np.intp)
    number[order] = np.arange(len(parent)) - first[parent[order]]
    return number, int(per_group.max())
