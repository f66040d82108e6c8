"""Units in blocks, or one random term, or none: everything in closed form.

Inside a unit with n rows the inverse of its covariance is (I - v/(e + n v) 11')/e, and a block
is a rank-one update of that, so all that is needed of the data are sums over units of one size
and over blocks (Sherman & Morrison 1950; Searle, Casella & McCulloch 1992, Variance Components,
section 3.4). After the sums the cost no longer depends on the number of rows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analyses.models.linear.arrays import Array
from analyses.models.linear.moments import Moments, with_residual

__all__ = ["Nested"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Nested:
    """Sums of the columns D = [X y] over units (inner level) and blocks (outer level).

    Attributes
    ----------
    names : tuple of str
        The inner term, the outer term, the residual; terms that are absent are left out.
    rows : int
        Number of observations.
    within : array, shape (c, c)
        D'D of the deviations of D from its means over units: free of what differs between units,
        so that no digit is lost when units or blocks differ hugely.
    sizes : array, shape (s,)
        The distinct numbers of rows of a unit.
    units : array, shape (s,)
        Units of each size.
    unit_squares : array, shape (s, c, c)
        Sum over units of one size of the outer product of their column sums.
    block_units : array, shape (blocks, s)
        Units of each size in each block.
    block_sums : array, shape (blocks, s, c)
        Column sums over the units of one size in a block.
    """

    names: tuple[str, ...]
    rows: int
    within: Array
    sizes: Array
    units: Array
    unit_squares: Array
    block_units: Array
    block_sums: Array

    @property
    def residuals(self) -> int:
        """One residual variance."""
        return 1

    def moments(self, theta: Array) -> Moments:
        """Give the products at the variances theta: inner, outer, residual."""
        terms, width = len(self.names) - 1, len(self.within)
        e = theta[-1]
        v = theta[0] if terms else 0.0
        load = 1 / (e + self.sizes * v)
        d = self.sizes * load
        flat = self.unit_squares.reshape(len(self.sizes), width * width)
        weights = np.empty((3, len(load)))
        weights[0], weights[1] = load / self.sizes, load * load
        weights[2] = weights[1] * d
        between, squares, leans = (weights @ flat).reshape(3, width, width)
        a = self.within / e + between
        log_det = (self.rows - self.units.sum()) * math.log(e) - self.units @ np.log(load)
        if terms == 0:
            empty = np.empty((0, width, width)), np.empty((0, 0, width, width))
            none = (np.zeros(0), a, *empty, np.zeros((0, 0)))
            return with_residual(theta, self.rows, float(log_det), none)
        if terms == 1:
            traces, t = (self.units @ d)[None], (self.units @ (d * d))[None, None]
            one = (traces, a, squares[None], leans[None, None], t)
            return with_residual(theta, self.rows, float(log_det), one)
        return self._with_blocks(theta, log_det, load, (a, squares, leans))

    def _with_blocks(
        self, theta: Array, log_det: float, load: Array, without: tuple[Array, Array, Array]
    ) -> Moments:
        """Add the rank-one update of each block.

        without: D' inv(V) D, the sum of Z_i' inv(V) D squared over units, and the same weighted
        by d_i = n_i load_i, all without blocks.
        """
        a, squares, leans = without
        b, n = theta[1], self.sizes
        d = n * load
        powers = np.empty((3, len(d)))
        powers[0], powers[1] = d, d * d
        powers[2] = powers[1] * d
        r, d2, d3 = powers @ self.block_units.T
        full = 1 + b * r
        shrink = 1 / full
        gain, own = b * shrink, r * shrink
        h = load @ self.block_sums
        hb = h * shrink[:, None]  # Z_b' inv(V) D
        a = a - (h * gain[:, None]).T @ h
        weights = np.empty((3, len(d)))
        weights[0] = d * load  # towards the sum over a block of d_i Z_i' inv(V) D
        weights[1], weights[2] = b * load * d, b * load * powers[1]
        sums = weights @ self.block_sums
        lean = sums[:, 0] - (b * d2)[:, None] * hb
        cross = sums[:, 1:].transpose(1, 2, 0) @ hb
        squared = (hb * (b * b * d2)[:, None]).T @ hb, (hb * (b * b * d3)[:, None]).T @ hb
        bb = np.empty((2, *a.shape))
        c = np.empty((2, 2, *a.shape))
        bb[0] = squares - cross[0] - cross[0].T + squared[0]
        bb[1] = hb.T @ hb
        c[0, 0] = leans - cross[1] - cross[1].T + squared[1] - (lean * gain[:, None]).T @ lean
        c[0, 1] = (lean * shrink[:, None]).T @ hb
        c[1, 0] = c[0, 1].T
        c[1, 1] = (hb * own[:, None]).T @ hb
        traces = np.array([self.units @ d - gain @ d2, own.sum()])
        gained = gain * d2
        vv = self.units @ powers[1] - 2 * gain @ d3 + gained @ gained
        vb = d2 @ (shrink * shrink)
        t = np.array([[vv, vb], [vb, own @ own]])
        log_det = float(log_det + np.log(full).sum())
        return with_residual(theta, self.rows, log_det, (traces, a, bb, c, t))
