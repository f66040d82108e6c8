"""Any random intercepts, crossed or nested, and any number of residual variances.

The term with most levels is taken out analytically: its block of the mixed-model equations is
diagonal once the rows of one level are summed (Searle, Casella & McCulloch 1992, Variance
Components, section 7.2). What remains is dense and as small as the other terms together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyses.models.linear.arrays import Array
from analyses.models.linear.moments import Moments

__all__ = ["General"]


@dataclass(frozen=True, slots=True, kw_only=True)
class General:
    """Sums of U = [Z_2 .. Z_r X y] over residual groups and over levels of the first term.

    Attributes
    ----------
    names : tuple of str
        The first term (with most levels), the other random terms, the residual variances.
    rows : int
        Number of observations.
    residuals : int
        Number g of residual variances.
    edges : tuple of int
        Where the columns of each other term begin in U, and where the last one ends.
    group_rows : array, shape (g,)
        Rows of each residual group.
    total : array, shape (g, u, u)
        U'U over the rows of each residual group.
    counts : array, shape (g, q)
        Rows of each level of the first term (q = 0 when there is no random term).
    sums : array, shape (g, q, u)
        Column sums of U over the rows of each level of the first term.
    """

    names: tuple[str, ...]
    rows: int
    residuals: int
    edges: tuple[int, ...]
    group_rows: Array
    total: Array
    counts: Array
    sums: Array

    def moments(self, theta: Array) -> Moments:
        """Give the products at the variances theta."""
        first = self._eliminate(theta)
        return first.moments()

    def _eliminate(self, theta: Array) -> _Eliminated:
        """Take out the first term, then the others, at given variances."""
        g, others = self.residuals, len(self.edges) - 1
        w = 1 / theta[-g:]
        lead = theta[0] if self.counts.shape[1] else 0.0
        s = w @ self.counts
        rho = 1 / (1 + lead * s)
        t = np.tensordot(w, self.sums, 1)
        e = t * rho[:, None]
        m = np.tensordot(w, self.total, 1) - (lead * e).T @ t
        q = self.edges[-1]
        widths = np.diff(self.edges)
        root = np.sqrt(np.repeat(theta[1 : 1 + others], widths))
        core = np.eye(q) + root[:, None] * m[:q, :q] * root
        n2 = root[:, None] * np.linalg.inv(core) * root
        log_det = -self.group_rows @ np.log(w) - np.log(rho).sum()
        log_det += 2 * np.log(np.diag(np.linalg.cholesky(core))).sum()
        return _Eliminated(
            data=self, w=w, lead=lead, rho=rho, d=s * rho, e=e, m=m, n2=n2, log_det=log_det
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Eliminated:
    """The equations at given variances.

    w: weights of the residual groups; rho, d: diagonals of I - lead Z1'inv(V)Z1 and
    Z1'inv(V1)Z1 before the other terms; e = Z1'inv(V1)U; m = U'inv(V1)U; n2 = inverse of the
    reduced equations of the other terms, where V1 is the covariance without them.
    """

    data: General
    w: Array
    lead: float
    rho: Array
    d: Array
    e: Array
    m: Array
    n2: Array
    log_det: float

    def moments(self) -> Moments:
        q = self.data.edges[-1]
        m, n2, ez, ed = self.m, self.n2, self.e[:, :q], self.e[:, q:]
        gamma = n2 @ m[:q, q:]  # best prediction of the other terms from D
        pi = np.eye(q) - m[:q, :q] @ n2
        h = [ed - ez @ gamma] if len(self.rho) else []
        h2 = pi @ m[:q, q:]
        spans = list(zip(self.data.edges[:-1], self.data.edges[1:], strict=True))
        h += [h2[i:j] for i, j in spans]
        k12, k22 = ez - ez @ n2 @ m[:q, :q], pi @ m[:q, :q]
        a = m[q:, q:] - m[q:, :q] @ gamma
        parts = _Parts(self, gamma=gamma, pi=pi, h=h, k12=k12, k22=k22, spans=spans)
        traces, b, c, t = parts.assemble(a.shape[0])
        return Moments(log_det=self.log_det, traces=traces, a=a, b=b, c=c, t=t)


class _Parts:
    """The products of each pair of components, random ones first."""

    def __init__(
        self,
        at: _Eliminated,
        *,
        gamma: Array,
        pi: Array,
        h: list[Array],
        k12: Array,
        k22: Array,
        spans: list[tuple[int, int]],
    ) -> None:
        self.at, self.h, self.pi, self.spans = at, h, pi, spans
        self.k12, self.k22 = k12, k22
        self.q = at.data.edges[-1]
        self.ez = at.e[:, : self.q]
        self.p = self.ez @ at.n2
        lift = np.vstack([-gamma, np.eye(gamma.shape[1])])
        data, e = at.data, at.e
        self.own: list[Array] = []  # residuals of D, squared within each residual group
        self.units: list[Array] = []  # the same summed over levels of the first term
        self.other: list[Array] = []  # the same against the other terms
        self.z_units: list[Array] = []
        self.z_own: list[Array] = []
        for total, sums, counts in zip(data.total, data.sums, data.counts, strict=True):
            scaled = at.lead * counts[:, None] * e
            cross = at.lead * sums.T @ e
            omega = total - cross - cross.T + at.lead * e.T @ scaled
            deviations = sums - scaled
            right = omega @ lift
            self.own.append(lift.T @ right)
            self.units.append(deviations @ lift)
            self.other.append(right[: self.q])
            self.z_units.append(deviations[:, : self.q])
            self.z_own.append(omega[: self.q, : self.q])

    def assemble(self, width: int) -> tuple[Array, Array, Array, Array]:
        random, groups = len(self.h), self.at.data.residuals
        size = random + groups
        traces, b = np.empty(size), np.empty((size, width, width))
        c, t = np.empty((size, size, width, width)), np.empty((size, size))
        for i in range(random):
            traces[i], b[i] = self._trace(i), self.h[i].T @ self.h[i]
            for j in range(i, random):
                c[i, j], t[i, j] = self._random_pair(i, j)
        for g in range(groups):
            k = random + g
            weight = self.at.w[g]
            traces[k], b[k] = self._group_trace(g), weight * weight * self.own[g]
            for i, (vector, square) in enumerate(self._group_random(g)):
                c[i, k], t[i, k] = self.h[i].T @ vector, square
            for f in range(g, groups):
                c[k, random + f], t[k, random + f] = self._group_pair(g, f)
        for i in range(size):
            for j in range(i):
                c[i, j], t[i, j] = c[j, i].T, t[j, i]
        return traces, b, c, t

    @property
    def _lead(self) -> int:
        return 1 if len(self.at.rho) else 0

    def _span(self, term: int) -> slice:
        start, end = self.spans[term - self._lead]
        return slice(start, end)

    def _trace(self, term: int) -> float:
        if self._lead and term == 0:
            return float(self.at.d.sum() - (self.p * self.ez).sum())
        span = self._span(term)
        return float(np.trace(self.k22[span, span]))

    def _random_pair(self, i: int, j: int) -> tuple[Array, float]:
        h, d = self.h, self.at.d
        if self._lead and i == 0 and j == 0:
            inner = self.ez.T @ h[0]
            square = self.at.n2 @ (self.ez.T @ self.ez)
            t = (d * d).sum() - 2 * d @ (self.p * self.ez).sum(1) + (square * square.T).sum()
            return (h[0] * d[:, None]).T @ h[0] - inner.T @ self.at.n2 @ inner, float(t)
        if self._lead and i == 0:
            block = self.k12[:, self._span(j)]
        else:
            block = self.k22[self._span(i), self._span(j)]
        return h[i].T @ block @ h[j], float((block * block).sum())

    def _group_trace(self, g: int) -> float:
        at = self.at
        w = at.w[g]
        inner = at.lead * at.rho @ at.data.counts[g] + (at.n2 * self.z_own[g]).sum()
        return float(w * at.data.group_rows[g] - w * w * inner)

    def _group_random(self, g: int) -> list[tuple[Array, float]]:
        """Give Z_k' inv(V) V_g inv(V) D and the trace with V_g for each random term."""
        at, found = self.at, []
        square = at.w[g] ** 2
        if self._lead:
            vector = at.rho[:, None] * self.units[g] - self.p @ self.other[g]
            t = (at.rho**2) @ at.data.counts[g]
            t += -2 * (self.p * at.rho[:, None] * self.z_units[g]).sum()
            t += ((self.p.T @ self.p) * self.z_own[g]).sum()
            found.append((square * vector, float(square * t)))
        spread = self.pi @ self.other[g]
        diagonal = ((self.pi @ self.z_own[g]) * self.pi).sum(1)
        for start, end in self.spans:
            found.append((square * spread[start:end], float(square * diagonal[start:end].sum())))
        return found

    def _group_pair(self, g: int, f: int) -> tuple[Array, float]:
        at = self.at
        scale = (at.w[g] * at.w[f]) ** 2
        shed = at.lead * at.rho
        c = -scale * (
            (self.units[g] * shed[:, None]).T @ self.units[f]
            + self.other[g].T @ at.n2 @ self.other[f]
        )
        counts = at.data.counts
        t = (shed**2 * counts[g]) @ counts[f]
        t += 2 * (at.n2 * ((self.z_units[g] * shed[:, None]).T @ self.z_units[f])).sum()
        t += ((at.n2 @ self.z_own[g]) * (at.n2 @ self.z_own[f]).T).sum()
        t *= scale
        if g == f:
            w = at.w[g]
            c = c + w**3 * self.own[g]
            t += w * w * at.data.group_rows[g]
            t -= 2 * w**3 * (shed @ counts[g] + (at.n2 * self.z_own[g]).sum())
        return c, float(t)
