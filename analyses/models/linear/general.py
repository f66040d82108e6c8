"""Any random intercepts, crossed or nested, and any number of residual variances.

The term with most levels is taken out analytically: its block of the mixed-model equations is
diagonal once the rows of one level are summed (Searle, Casella & McCulloch 1992, Variance
Components, section 7.2). What remains is dense and as small as the other terms together.
All runs over leading axes too: over many trials of one shape, or many variances of one trial.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analyses.models.linear.arrays import Array, Codes
from analyses.models.linear.moments import Moments

__all__ = ["General", "within_levels"]


@dataclass(frozen=True, slots=True, kw_only=True)
class General:
    """Sums of U = [Z_2 .. Z_r X y] over residual groups and over levels of the first term.

    All arrays may have the same leading axes, one entry a trial.

    Attributes
    ----------
    names : tuple of str
        The first term (with most levels), the other random terms, the residual variances.
    rows : int or array
        Number of observations.
    residuals : int
        Number g of residual variances.
    edges : tuple of int
        Where the columns of each other term begin in U, and where the last one ends.
    group_rows : array, shape (..., g)
        Rows of each residual group.
    total : array, shape (..., g, u, u)
        U'U over the rows of each residual group.
    within : array, shape (..., g, u, u)
        The same of deviations from the means over the levels of the first term.
    counts : array, shape (..., g, q)
        Rows of each level of the first term (q = 0 when there is no random term).
    sums : array, shape (..., g, q, u)
        Column sums of U over the rows of each level of the first term.
    """

    names: tuple[str, ...]
    rows: int | Array
    residuals: int
    edges: tuple[int, ...]
    group_rows: Array
    total: Array
    within: Array
    counts: Array
    sums: Array

    def stacked(self) -> General:
        """Give the same as a stack of one."""
        return self.of(None)

    def of(self, which: Codes | None) -> General:
        """Give some of a stack; with None, the same with one leading axis more."""
        return replace(
            self,
            rows=np.asarray(self.rows, float)[which],
            group_rows=self.group_rows[which],
            total=self.total[which],
            within=self.within[which],
            counts=self.counts[which],
            sums=self.sums[which],
        )

    def moments(self, theta: Array) -> Moments:
        """Give the products at the variances theta, shape (..., k)."""
        return _Parts(self._eliminate(theta)).moments()

    def _eliminate(self, theta: Array) -> _Eliminated:
        """Take out the first term, then the others, at given variances."""
        g, others = self.residuals, len(self.edges) - 1
        w = 1 / theta[..., -g:]
        lead = theta[..., :1] if self.counts.shape[-1] else np.zeros((*theta.shape[:-1], 1))
        s = (w[..., None, :] @ self.counts)[..., 0, :]
        rho = 1 / (1 + lead * s)
        t = _weighted(w, self.sums)
        e = t * rho[..., None]
        m = _weighted(w, self.total) - _turned(lead[..., None] * e) @ t
        q = self.edges[-1]
        root = np.sqrt(np.repeat(theta[..., 1 : 1 + others], np.diff(self.edges), axis=-1))
        core = np.eye(q) + root[..., None] * m[..., :q, :q] * root[..., None, :]
        n2 = root[..., None] * np.linalg.inv(core) * root[..., None, :]
        log_det = -(self.group_rows * np.log(w)).sum(-1) - np.log(rho).sum(-1)
        lower = np.linalg.cholesky(core)
        log_det = log_det + 2 * np.log(np.diagonal(lower, axis1=-2, axis2=-1)).sum(-1)
        return _Eliminated(
            data=self, w=w, lead=lead, s=s, rho=rho, d=s * rho, e=e, m=m, n2=n2, log_det=log_det
        )


def within_levels(group_rows: Array, total: Array, counts: Array, sums: Array) -> Array:
    """Give U'U of deviations from the means over levels, zero where no level has two rows.

    Parameters
    ----------
    group_rows, total, counts, sums
        As in `General`.
    """
    there = counts > 0
    share = np.where(there, 1 / np.where(there, counts, 1.0), 0.0)
    more = group_rows > there.sum(-1)
    left = total - _turned(sums) @ (share[..., None] * sums)
    return np.where(more[..., None, None], left, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Eliminated:
    """The equations at given variances.

    w: weights of the residual groups, s: their sums over levels of the first term; rho, d:
    diagonals of I - lead Z1'inv(V)Z1 and Z1'inv(V1)Z1 before the other terms; e = Z1'inv(V1)U;
    m = U'inv(V1)U; n2 = inverse of the reduced equations of the other terms, where V1 is the
    covariance without them.
    """

    data: General
    w: Array
    lead: Array
    s: Array
    rho: Array
    d: Array
    e: Array
    m: Array
    n2: Array
    log_det: Array


class _Parts:
    """The products of each pair of components, random ones first."""

    def __init__(self, at: _Eliminated) -> None:
        self.at, self.lead = at, 1 if at.rho.shape[-1] else 0
        data, q = at.data, at.data.edges[-1]
        self.spans = [slice(i, j) for i, j in zip(data.edges[:-1], data.edges[1:], strict=True)]
        self.ez, ed = at.e[..., :q], at.e[..., q:]
        self.p = self.ez @ at.n2
        zz, zd = at.m[..., :q, :q], at.m[..., :q, q:]
        gamma = at.n2 @ zd  # best prediction of the other terms from D
        self.pi = np.eye(q) - zz @ at.n2
        self.a = at.m[..., q:, q:] - _turned(zd) @ gamma
        self.k12, self.k22 = self.ez - self.p @ zz, self.pi @ zz
        h2 = self.pi @ zd
        self.h = [ed - self.ez @ gamma][: self.lead] + [h2[..., one, :] for one in self.spans]
        self._by_group(gamma)

    def _by_group(self, gamma: Array) -> None:
        """Work out what each residual group holds beyond what the random terms predict.

        Where a residual variance is all but nothing, its weight is huge and what is left of a row
        tiny: squares are put together from what is left, never as differences of large ones.
        """
        at, data, (q, c) = self.at, self.at.data, gamma.shape[-2:]
        after = np.zeros((*gamma.shape[:-2], 1, q + c, q + c))
        after[...] = np.eye(q + c)
        after[..., 0, :q, q:] = -gamma
        predicted = (at.lead[..., None] * data.counts)[..., None] * at.e[..., None, :, :]
        left = (data.sums - predicted) @ after  # of U, then of D less what the others predict
        there = data.counts > 0
        others = (at.s[..., None, :] - at.w[..., None] * data.counts) * at.lead[..., None]
        self.kept = np.where(there, at.rho[..., None, :] * (1 + others), 0.0)
        self.spare = data.group_rows - there.sum(-1)
        share = np.where(there, 1 / np.where(there, data.counts, 1.0), 0.0)
        within = _turned(after) @ data.within @ after if data.within.any() else 0.0
        squares = within + _turned(left) @ (share[..., None] * left)
        shrunk = within + _turned(left) @ ((self.kept * share)[..., None] * left)
        self.own = squares[..., q:, q:]  # residuals of D, squared
        self.own_kept = shrunk[..., q:, q:]  # less what the first term predicts of them
        self.units = left[..., q:]  # residuals summed over levels of the first term
        self.other = squares[..., :q, q:]  # the same squared against the other terms
        self.z_units, self.z_own = left[..., :q], squares[..., :q, :q]
        self.z_kept = shrunk[..., :q, :q]

    def moments(self) -> Moments:
        at, random = self.at, len(self.h)
        size, width = random + at.data.residuals, self.a.shape[-1]
        shape = at.w.shape[:-1]
        traces, b = np.empty((*shape, size)), np.empty((*shape, size, width, width))
        c, t = np.empty((*shape, size, size, width, width)), np.empty((*shape, size, size))
        for i, h in enumerate(self.h):
            traces[..., i], b[..., i, :, :] = self._trace(i), _turned(h) @ h
            for j in range(i, random):
                c[..., i, j, :, :], t[..., i, j] = self._random_pair(i, j)
            c[..., i, random:, :, :], t[..., i, random:] = self._group_random(i)
        traces[..., random:] = self._group_traces()
        b[..., random:, :, :] = at.w[..., None, None] ** 2 * self.own
        c[..., random:, random:, :, :], t[..., random:, random:] = self._group_pairs()
        for i in range(random):
            for j in range(i + 1, size):
                c[..., j, i, :, :], t[..., j, i] = _turned(c[..., i, j, :, :]), t[..., i, j]
        return Moments(log_det=at.log_det, traces=traces, a=self.a, b=b, c=c, t=t)

    def _span(self, term: int) -> slice:
        return self.spans[term - self.lead]

    def _trace(self, term: int) -> Array:
        if self.lead and term == 0:
            return np.asarray(self.at.d.sum(-1) - _total(self.p * self.ez))
        span = self._span(term)
        return np.asarray(self.k22[..., span, span].trace(0, -2, -1))

    def _random_pair(self, i: int, j: int) -> tuple[Array, Array]:
        h, d = self.h, self.at.d
        if self.lead and i == 0 and j == 0:
            turned = _turned(self.ez)
            inner, square = turned @ h[0], self.at.n2 @ (turned @ self.ez)
            t = (d * (d - 2 * (self.p * self.ez).sum(-1))).sum(-1) + _total(
                square * _turned(square)
            )
            return _turned(h[0] * d[..., None]) @ h[0] - _turned(inner) @ self.at.n2 @ inner, t
        if self.lead and i == 0:
            block = self.k12[..., self._span(j)]
        else:
            block = self.k22[..., self._span(i), self._span(j)]
        return _turned(h[i]) @ block @ h[j], _total(block * block)

    def _group_traces(self) -> Array:
        w = self.at.w
        first = w * (self.spare + self.kept.sum(-1))
        return np.asarray(first - w**2 * self._n2_own.trace(0, -2, -1))

    @property
    def _shed(self) -> Array:
        return self.at.lead * self.at.rho

    @property
    def _n2_own(self) -> Array:
        return np.asarray(self.at.n2[..., None, :, :] @ self.z_own)

    def _group_random(self, term: int) -> tuple[Array, Array]:
        """Give D' inv(V) V_i inv(V) V_g inv(V) D and the trace with V_g of a random term."""
        at, square = self.at, self.at.w**2
        if self.lead and term == 0:
            rho, p = at.rho[..., None, :, None], self.p[..., None, :, :]
            vector = rho * self.units - p @ self.other
            t = _along((at.rho**2)[..., None, :], at.data.counts)
            t = t - 2 * _total(p * rho * self.z_units)
            t = t + _total((_turned(self.p) @ self.p)[..., None, :, :] * self.z_own)
        else:
            pi = self.pi[..., None, self._span(term), :]
            vector = pi @ self.other
            t = _total((pi @ self.z_own) * pi)
        c = _turned(self.h[term])[..., None, :, :] @ vector
        return square[..., None, None] * c, square * t

    def _group_pairs(self) -> tuple[Array, Array]:
        at, n2, w = self.at, self.at.n2, self.at.w
        shed, own = self._shed[..., None, :], self._n2_own
        scale = (w[..., :, None] * w[..., None, :]) ** 2
        each = np.arange(at.data.residuals)
        c = -scale[..., None, None] * _all_pairs(self.units * shed[..., None], self.units)
        c[..., each, each, :, :] = w[..., None, None] ** 3 * self.own_kept
        c -= scale[..., None, None] * _all_pairs(n2[..., None, :, :] @ self.other, self.other)
        units = _all_pairs(self.z_units * shed[..., None], self.z_units)
        t = (at.data.counts * shed**2) @ _turned(at.data.counts)
        t = scale * (t + 2 * _total(units * n2[..., None, None, :, :]))
        crossed = _total(self.z_kept * n2[..., None, :, :])
        t[..., each, each] = w**2 * (self.spare + (self.kept**2).sum(-1)) - 2 * w**3 * crossed
        flat = (*own.shape[:-2], n2.shape[-1] ** 2)
        return c, t + scale * (own.reshape(flat) @ _turned(_turned(own).reshape(flat)))


def _turned(matrix: Array) -> Array:
    return matrix.swapaxes(-1, -2)


def _total(matrix: Array) -> Array:
    return np.asarray(matrix.sum((-2, -1)))


def _along(left: Array, right: Array) -> Array:
    return np.asarray((left * right).sum(-1))


def _weighted(weights: Array, stack: Array) -> Array:
    """Sum the arrays of the residual groups with weights."""
    *lead, g, rows, columns = stack.shape
    flat = weights[..., None, :] @ stack.reshape(*lead, g, rows * columns)
    return np.asarray(flat.reshape(*flat.shape[:-2], rows, columns))


def _all_pairs(left: Array, right: Array) -> Array:
    """Give left_g' right_f of all pairs of groups, shape (..., g, g, c, c), in one product."""
    g, q, c = left.shape[-3:]
    wide = [one.swapaxes(-3, -2).reshape(*one.shape[:-3], q, g * c) for one in (left, right)]
    both = (_turned(wide[0]) @ wide[1]).reshape(*left.shape[:-3], g, c, g, c)
    return np.asarray(both.swapaxes(-3, -2))
