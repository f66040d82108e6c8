"""The covariance of a nested model inverted in closed form, with its derivatives.

With residual variance 1 and ratios g_1 (innermost) ... g_m (outermost), V = I + sum g_j Z_j Z_j'.
Adding one level to a group whose inverse is known is a rank-one change (Sherman & Morrison 1950):
with t = 1'V^-1 D and W = 1'V^-1 1 before the level, D'V^-1 D falls by g / (1 + g W) t t', log|V|
grows by log(1 + g W), and t and W themselves shrink by 1 / (1 + g W). The innermost term needs
the group sums only by group size. Derivatives come along as jets.
"""

from __future__ import annotations

import numpy as np

from analyses.models.batches.nested_design import NestedDesign
from analyses.models.batches.nested_sums import TrialSums
from analyses.models.numerics.jets import Array, Jet, logarithm, parameter, product, reciprocal

__all__ = ["NestedVariance"]


def _total(jet: Jet) -> Jet:
    """Sum over the first axis."""
    return jet.through(lambda a: a.sum(axis=0))


class NestedVariance:
    """V at given ratios, for many trials at once.

    Parameters
    ----------
    design
        The design, for how groups lie in each other.
    sums
        Sums of the trials, q = rank + 1 columns of D = [U y].
    ratios
        Variances divided by the residual variance, innermost first, shape (terms, trials).
    """

    def __init__(self, design: NestedDesign, sums: TrialSums, ratios: Array) -> None:
        self._sums = sums
        self._starts = design.member_starts
        self.log_determinant = Jet(np.zeros(ratios.shape[1]))
        if design.compressed:
            ratio = parameter(ratios[0], 0)
            spread = ratio.through(lambda a: sums.sizes * a).plus(1.0)
            self._share = reciprocal(spread)  # 1 / (1 + k g) for groups of size k
            self._shrink = product(ratio, self._share)
            logs = logarithm(spread).through(lambda a: sums.size_counts * a)
            self.log_determinant = _total(logs)
        else:
            self._share = Jet(np.ones((1, ratios.shape[1])))
        self._levels: list[tuple[Jet, Jet]] = []
        self._build(ratios, 1 if design.compressed else 0)

    def _build(self, ratios: Array, first: int) -> None:
        """Find for each level kept by group what it takes off and how much it leaves."""
        if not self._starts:
            return
        counts = self._sums.group_counts
        weight = self._share.through(
            lambda a: np.einsum("gkt,kt->gt", counts, self._sums.sizes * a)
        )
        for level, _ in enumerate(self._starts):
            number = first + level
            if level:
                weight = self._inside(weight, level)
            ratio = parameter(ratios[number], number)
            spread = product(ratio, weight).plus(1.0)
            left = reciprocal(spread)
            self._levels.append((left, product(ratio, left)))
            logs = _total(logarithm(spread))
            self.log_determinant = _sum(self.log_determinant, logs)
            weight = product(left, weight)

    def _inside(self, jet: Jet, level: int) -> Jet:
        """Sum over the groups that lie in one group of this level."""
        return jet.through(lambda a: np.add.reduceat(a, self._starts[level], axis=0))

    def rise(self, group_sums: Array, order: int = 2) -> list[Jet]:
        """Carry sums up the levels: t = 1'V^-1 D of each group just before its own level.

        Parameters
        ----------
        group_sums
            Shape (G, K, columns, trials).
        order
            Derivatives wanted, 1 or 2.
        """
        if not self._levels:
            return []
        share = self._share if order > 1 else self._share.first_order()
        carried = share.through(lambda a: np.einsum("gkct,kt->gct", group_sums, a))
        jets = [carried]
        for level in range(1, len(self._levels)):
            left = self._levels[level - 1][0].through(lambda a: a[:, None])
            carried = self._inside(product(left, carried, order), level)
            jets.append(carried)
        return jets

    def cross(self, risen: list[Jet]) -> Array:
        """Give D'V^-1 D, shape (q, q, trials)."""
        total = self._sums.cross.copy()
        if len(self._sums.size_cross):
            total -= np.einsum("kqrt,kt->qrt", self._sums.size_cross, self._shrink.value)
        for (_, taken), t in zip(self._levels, risen, strict=True):
            scaled = taken.value[:, None] * t.value
            total -= np.einsum("gqt,grt->qrt", scaled, t.value)
        return total

    def cross_slopes(self, risen: list[Jet], rank: int) -> list[Array]:
        """Give the derivatives of U'V^-1 U by each ratio, each of shape (rank, rank, trials)."""
        terms = len(self._levels) + bool(len(self._sums.size_cross))
        slopes = [np.zeros((rank, rank, self._sums.rows.shape[0])) for _ in range(terms)]
        if len(self._sums.size_cross):
            by_size = self._sums.size_cross[:, :rank, :rank]
            slopes[0] -= np.einsum("kqrt,kt->qrt", by_size, self._shrink.first[0])
        for (_, taken), t in zip(self._levels, risen, strict=True):
            for i, slope in taken.first.items():
                half = 0.5 * slope[:, None] * t.value
                if i in t.first:
                    half = half + taken.value[:, None] * t.first[i]
                side = np.einsum("gqt,grt->qrt", half, t.value)
                slopes[i] -= side + side.transpose(1, 0, 2)
        return slopes

    def vector_slopes(self, risen: list[Jet], risen_along: list[Jet], sized: Array) -> list[Array]:
        """Give the derivatives of D'V^-1 D a for directions a, each (q, directions, trials).

        Parameters
        ----------
        risen
            What `rise` gave for the columns of D.
        risen_along
            What `rise` gave for D a.
        sized
            Sum of s s' a by size, shape (K, q, directions, trials).
        """
        slopes: dict[int, Array] = {}
        if len(sized):
            slopes[0] = -np.einsum("kqmt,kt->qmt", sized, self._shrink.first[0])
        for (_, taken), t, along in zip(self._levels, risen, risen_along, strict=True):
            scaled = product(taken.through(lambda a: a[:, None]), along, 1)
            for i, slope in scaled.first.items():
                part = np.einsum("gqt,gmt->qmt", t.value, slope)
                if i in t.first:
                    part += np.einsum("gqt,gmt->qmt", t.first[i], scaled.value)
                slopes[i] = slopes[i] - part if i in slopes else -part
        return [slopes[i] for i in sorted(slopes)]

    def form(self, squares: list[Jet], sized: Array) -> Jet:
        """Give the part of a quadratic form in D'V^-1 D that depends on the ratios.

        Parameters
        ----------
        squares
            The form of t t' at each level, shape (G, ..., trials).
        sized
            The form of the sum of s s' by size, shape (K, ..., trials).
        """
        wide = (slice(None), *(None,) * (sized.ndim - 2), slice(None))
        total = Jet(np.zeros(sized.shape[1:]))
        if len(sized):
            total = _total(self._shrink.through(lambda a: -a[wide] * sized))
        for (_, taken), square in zip(self._levels, squares, strict=True):
            lost = _total(product(taken.through(lambda a: -a[wide]), square))
            total = _sum(total, lost)
        return total


def _sum(a: Jet, b: Jet) -> Jet:
    """Add two jets."""
    nothing = np.zeros(1)
    first = {i: a.first.get(i, nothing) + b.first.get(i, nothing) for i in {**a.first, **b.first}}
    second = {
        ij: a.second.get(ij, nothing) + b.second.get(ij, nothing) for ij in {**a.second, **b.second}
    }
    return Jet(a.value + b.value, first, second)
