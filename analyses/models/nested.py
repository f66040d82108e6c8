"""Units in blocks, or one random term, or none: everything in closed form.

Inside a unit with n rows the inverse of its covariance is (I - v/(e + n v) 11')/e, and a block
is a rank-one update of that, so all that is needed of the data are sums over units of one size
and over blocks (Sherman & Morrison 1950; Searle, Casella & McCulloch 1992, Variance Components,
section 3.4). After the sums the cost no longer depends on the number of rows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyses.models.fit import Array
from analyses.models.moments import Moments, with_residual

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
    total : array, shape (c, c)
        D'D.
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
    total: Array
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
        terms, width = len(self.names) - 1, len(self.total)
        e = theta[-1]
        v = theta[0] if terms else 0.0
        b = theta[1] if terms == 2 else 0.0
        load = 1 / (e + self.sizes * v)
        d = self.sizes * load
        flat = self.unit_squares.reshape(len(self.sizes), width * width)
        a = (self.total - ((v * load) @ flat).reshape(width, width)) / e
        log_det = (self.rows - self.units.sum()) * np.log(e) - self.units @ np.log(load)
        if terms == 0:
            empty = np.zeros((0, width, width))
            none = (np.zeros(0), a, empty, np.zeros((0, 0, width, width)), np.zeros((0, 0)))
            return with_residual(theta, self.rows, float(log_det), none)
        squares = (np.stack([load * load, load * load * d]) @ flat).reshape(2, width, width)
        if terms == 1:
            traces = np.array([self.units @ d])
            t = np.array([[self.units @ (d * d)]])
            one = (traces, a, squares[:1], squares[1:][None], t)
            return with_residual(theta, self.rows, float(log_det), one)
        two = self._with_blocks(b, load, d, a, squares)
        log_det += np.log1p(b * (self.block_units @ d)).sum()
        return with_residual(theta, self.rows, float(log_det), two)

    def _with_blocks(
        self, b: float, load: Array, d: Array, a: Array, squares: Array
    ) -> tuple[Array, Array, Array, Array, Array]:
        """Add the rank-one update of each block; squares holds the sums without blocks."""
        n = self.sizes
        r, d2, d3 = (self.block_units @ np.stack([d, d * d, d**3], 1)).T
        shrink = 1 / (1 + b * r)
        gain = b * shrink
        h = load @ self.block_sums
        hb = h * shrink[:, None]  # Z_b' inv(V) D
        a = a - (h * gain[:, None]).T @ h
        unit_sums = self.block_sums - (b * self.block_units * n)[:, :, None] * hb[:, None, :]
        lean = (d * load) @ unit_sums  # sum over the units of a block of d_i Z_i' inv(V) D
        weights = np.stack([load * load, load * load * d]) * (b * n)
        cross = (weights @ self.block_sums).transpose(1, 2, 0) @ hb
        own = (self.block_units @ (weights * (b * n)).T).T[:, None, :] * hb.T @ hb
        inner = squares - cross - cross.transpose(0, 2, 1) + own
        bb = hb.T @ hb
        c = np.empty((2, 2, *a.shape))
        c[0, 0] = inner[1] - (lean * gain[:, None]).T @ lean
        c[0, 1] = (lean * shrink[:, None]).T @ hb
        c[1, 0] = c[0, 1].T
        c[1, 1] = (hb * (r * shrink)[:, None]).T @ hb
        traces = np.array([self.units @ d - gain @ d2, r @ shrink])
        vv = self.units @ (d * d) - 2 * gain @ d3 + ((gain * d2) ** 2).sum()
        vb = d2 @ (shrink * shrink)
        t = np.array([[vv, vb], [vb, ((r * shrink) ** 2).sum()]])
        return traces, a, np.stack([inner[0], bb]), c, t
