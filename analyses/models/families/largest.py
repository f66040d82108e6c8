"""Tails of the largest |t| where its chance is a double integral: by quadrature, to ten digits.

Comparisons with one control are equally correlated through the control (Dunnett 1955, Journal of
the American Statistical Association 50, 1096-1121); all pairs of equally precise means are the
studentised range (Tukey 1953; Kramer 1956, Biometrics 12, 307-310). Other families use these as
neighbours whose answer is known.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.special import gammainccinv, gammaincinv, gammaln, ndtr

from analyses.models.linear.arrays import Array

__all__ = ["Quadrature", "pairs_correlation", "shared_control", "studentised_range"]

_END = 1e-15  # chance left out at either end of the distribution of the error
_FEW = 12.0  # below so many df the estimate of the error needs more nodes
_FINE, _COARSE, _NORMAL = 160, 56, 80  # nodes


@cache
def _nodes(count: int) -> tuple[Array, Array]:
    """Give the nodes and weights of Gauss and Legendre, found when they are first needed."""
    return np.polynomial.legendre.leggauss(count)


@cache
def _normal_nodes() -> tuple[Array, Array]:
    """Give nodes from -9 to 9, and their weights times the normal density."""
    nodes, weights = _nodes(_NORMAL)
    z = 9.0 * nodes
    return z, 9.0 * weights * np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)


@dataclass(frozen=True, slots=True, kw_only=True)
class Quadrature:
    """A family whose tail for known error variance is a single integral.

    Attributes
    ----------
    tail : callable
        Chance that the largest |z| exceeds each limit, for limits of any shape.
    correlation : array, shape (m, m)
        Correlation of the family.
    """

    tail: Callable[[Array], Array]
    correlation: Array

    def p(self, t: Array, df: Array) -> Array:
        """Give the chance of a larger |t| for each limit, averaged over the error's estimate."""
        nodes, weights = _nodes(_FINE if df.size and df.min() < _FEW else _COARSE)
        half = np.where(np.isinf(df), 1.0, df)[:, None] / 2
        low = np.log(gammaincinv(half, _END) / half) / 2
        high = np.log(gammainccinv(half, _END) / half) / 2
        log_s = (high + low) / 2 + (high - low) / 2 * nodes
        log_density = np.log(2) + half * np.log(half) - gammaln(half)
        log_density = log_density + 2 * half * log_s - half * np.exp(2 * log_s)
        weight = (high - low) / 2 * weights * np.exp(log_density)
        mixed = (weight * self.tail(np.abs(t)[:, None] * np.exp(log_s))).sum(1)
        if np.isinf(df).any():
            return np.where(np.isinf(df), self.tail(np.abs(t)), mixed)
        return np.asarray(mixed)


def shared_control(correlation: Array) -> Quadrature | None:
    """Give the family of correlation l_i l_j that is nearest to this one, if there is one."""
    loads = _one_factor(correlation)
    if loads is None:
        return None
    values, counts = np.unique(np.round(loads, 13), return_counts=True)
    rest = np.sqrt(1 - values**2)
    z, density = _normal_nodes()

    def tail(limit: Array) -> Array:
        inside = np.zeros((*limit.shape, len(z)))
        for value, count, scale in zip(values, counts, rest, strict=True):
            u = limit[..., None]
            outside = ndtr((value * z - u) / scale) + ndtr((-value * z - u) / scale)
            inside += count * np.log1p(-np.minimum(outside, 1 - 1e-16))
        return np.asarray(-np.expm1(inside) @ density)

    product = np.outer(loads, loads)
    np.fill_diagonal(product, 1.0)
    return Quadrature(tail=tail, correlation=product)


def _one_factor(correlation: Array) -> Array | None:
    """Fit one common factor by alternating least squares on the off-diagonal entries."""
    m = len(correlation)
    off = correlation - np.eye(m)
    _, vectors = np.linalg.eigh(correlation)
    loads = np.sqrt(max(np.abs(off).sum() / (m * (m - 1)), 1e-12)) * np.sign(vectors[:, -1])
    loads[loads == 0] = 1e-6
    for _ in range(200):
        before = loads.copy()
        for i in range(m):
            others = loads @ loads - loads[i] ** 2
            loads[i] = off[i] @ loads / others if others > 0 else 0.0
        if np.abs(loads - before).max() < 1e-14:
            break
    return loads if np.abs(loads).max() < 0.995 else None


def pairs_correlation(means: int) -> Array:
    """Give the correlation of all differences of equally precise means, later minus earlier."""
    pairs = [(low, high) for high in range(means) for low in range(high)]
    differences = np.zeros((len(pairs), means))
    for row, (low, high) in enumerate(pairs):
        differences[row, low], differences[row, high] = -1.0, 1.0
    return np.asarray(differences @ differences.T / 2)


def studentised_range(means: int) -> Quadrature:
    """Give the family of all differences of so many equally precise means."""
    z, density = _normal_nodes()

    def tail(limit: Array) -> Array:
        below = ndtr(z)
        ratio = ndtr(z - np.sqrt(2) * limit[..., None]) / below
        lost = -np.expm1((means - 1) * np.log1p(-np.minimum(ratio, 1 - 1e-16)))
        return np.asarray((means * lost * below ** (means - 1)) @ density)

    return Quadrature(tail=tail, correlation=pairs_correlation(means))
