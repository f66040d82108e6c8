"""The limit that the largest |t| of a family keeps, for many trials whose families differ a little.

Where few families occur each is integrated. Where losses make every trial's family its own, the
limit is a smooth function of the family's loadings on their common control and of the degrees of
freedom: it is integrated for some trials, a polynomial is fitted, and other trials check it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from analyses.models.families.largest import shared_control
from analyses.models.families.multiplicity import LargestT, largest_t
from analyses.models.linear.arrays import Array
from analyses.models.linear.student import t_quantile

__all__ = ["TOLERANCE", "critical_limits"]

TOLERANCE = 2e-7
"""Largest relative error of an interpolated limit that the search for one is content with."""

_FEW = 24  # so many families are integrated one by one
_MOST = 400  # so many limits are integrated one by one where no polynomial fits well
_DEGREES = (2, 3, 4, 5)
_CHECKED = 40
_DIGITS = 11
_ALIKE = 5e-3

Index = npt.NDArray[np.intp]


def critical_limits(
    covariance: Array, df: Array, confidence: float, *, worst: float = np.inf
) -> tuple[Array, float]:
    """Give the limit of |t| that holds for all contrasts of a trial together.

    Parameters
    ----------
    covariance : array, shape (m, m, trials)
        Of the contrasts of each trial; only the correlations matter.
    df : array, shape (m, trials)
        Degrees of freedom of each contrast.
    confidence : float
        Between 0 and 1.
    worst : float
        Relative error of an interpolated limit beyond which all are integrated, however many.

    Returns
    -------
    limits : array, shape (m, trials)
        As `analyses.models.families.multiplicity.LargestT.critical` gives them.
    error : float
        Largest relative error where interpolated limits were checked; 0 where all were integrated.

    References
    ----------
    Dunnett (1955), Journal of the American Statistical Association 50, 1096-1121.
    """
    m, trials = df.shape
    if m == 1 or not trials:
        return np.asarray(t_quantile((1 + confidence) / 2, df)), 0.0
    size = np.sqrt(np.einsum("iit->it", covariance))
    correlation = covariance / (size[:, None] * size[None])
    points = _points(correlation, df)
    distinct, back = np.unique(points, axis=0, return_inverse=True)
    families = np.unique(distinct[:, :-1], axis=0)
    if len(families) <= _FEW or len(distinct) <= 4 * _FEW:
        limits, error = _integrated(distinct, m, confidence), 0.0
    else:
        limits, error = _interpolated(distinct, m, confidence, worst)
    return np.asarray(limits[back.ravel()].reshape(m, trials)), error


def _points(correlation: Array, df: Array) -> Array:
    """Give correlations above the diagonal and df of every contrast and trial, one row each."""
    m, trials = df.shape
    above = correlation[np.triu_indices(m, 1)].T
    rows = np.concatenate([np.tile(above, (m, 1)), df.reshape(m * trials, 1)], axis=1)
    return np.asarray(np.round(rows, _DIGITS))


def _integrated(points: Array, m: int, confidence: float) -> Array:
    """Integrate the limits of rows sorted by family."""
    limits = np.empty(len(points))
    fresh = np.any(np.diff(points[:, :-1], axis=0) != 0, axis=1)
    starts = np.flatnonzero(np.concatenate([[True], fresh]))
    for start, end in zip(starts, [*starts[1:], len(points)], strict=True):
        family = np.eye(m)
        family[np.triu_indices(m, 1)] = points[start, :-1]
        family = np.maximum(family, family.T)
        limits[start:end] = _largest(family).critical(points[start:end, -1], confidence)
    return limits


def _largest(correlation: Array) -> LargestT:
    """Take the nearest family with one common control where it is all but the family itself.

    It differs in second order only, and the integral over directions is rougher than that.
    """
    known = shared_control(correlation)
    if known is not None and np.abs(known.correlation - correlation).max() < _ALIKE:
        return LargestT(size=len(correlation), known=known)
    return largest_t(correlation)


@dataclass(frozen=True, slots=True)
class _Integrals:
    """Limits of some rows, each integrated once."""

    points: Array
    m: int
    confidence: float
    known: dict[int, float] = field(default_factory=dict)

    def of(self, rows: Index) -> Array:
        """Give the limits of rows."""
        new = np.array([row for row in rows.tolist() if row not in self.known], np.intp)
        if len(new):
            found = _integrated(self.points[new], self.m, self.confidence)
            self.known.update(zip(new.tolist(), found.tolist(), strict=True))
        return np.array([self.known[row] for row in rows.tolist()])


def _interpolated(points: Array, m: int, confidence: float, worst: float) -> tuple[Array, float]:
    """Fit polynomials of growing degree until the trials held back agree."""
    integrals = _Integrals(points, m, confidence)
    # Against the limit of Bonferroni's inequality little is left to the degrees of freedom.
    bound = t_quantile(1 - (1 - confidence) / (2 * m), points[:, -1])
    variables = _variables(points, m)
    held = np.random.default_rng(0).permutation(len(points))[:_CHECKED]
    best, least = bound, np.inf
    for degree in _DEGREES:
        features = np.stack(list(_monomials(variables, degree)), axis=1)
        count = min(3 * features.shape[1], len(points))
        taught = np.setdiff1d(_spread_out(variables, count, seed=degree), held)
        shares = integrals.of(taught) / bound[taught]
        told = features @ np.linalg.lstsq(features[taught], shares, rcond=1e-13)[0] * bound
        error = float(np.abs(told[held] / integrals.of(held) - 1).max())
        if error < least:
            best, least = told, error
        if least < TOLERANCE:
            return best, least
    if len(points) <= _MOST or least > worst:
        return integrals.of(np.arange(len(points))), 0.0
    return best, least


def _variables(points: Array, m: int) -> list[tuple[Array, int]]:
    """Give what the limit depends on, each about 1 in size, with the degree that it counts as.

    The limit does not change when contrasts change places: only sums of powers of their loadings
    matter. With two contrasts their correlation stands for both loadings.
    """
    inverse = 1 / points[:, -1]
    loads = points[:, :1] if m == 2 else _loads(points[:, :-1], m)
    loads = loads - loads.mean()
    loads = loads / max(float(np.abs(loads).max()), 1e-300)
    freedom = inverse - inverse.mean()
    freedom = freedom / max(float(np.abs(freedom).max()), 1e-300)
    sums = [((loads**power).mean(axis=1), power) for power in range(1, max(_DEGREES) + 1)]
    return [(freedom, 1), *(sums[:1] if m == 2 else sums)]


def _loads(above: Array, m: int) -> Array:
    """Fit one common factor to the correlations of each row, shape (rows, m)."""
    matrix = np.zeros((len(above), m, m))
    upper = np.triu_indices(m, 1)
    matrix[:, upper[0], upper[1]] = matrix[:, upper[1], upper[0]] = above
    loads = np.sqrt(np.abs(matrix.sum(axis=2)) / (m - 1))
    for _ in range(60):
        for i in range(m):
            others = np.maximum((loads**2).sum(axis=1) - loads[:, i] ** 2, 1e-12)
            loads[:, i] = np.einsum("rj,rj->r", matrix[:, i], loads) / others
    return np.asarray(loads, float)


def _monomials(variables: list[tuple[Array, int]], degree: int) -> Iterator[Array]:
    """Give all products of the variables up to a total degree."""
    if not variables:
        yield np.ones(1)
        return
    (first, weight), rest = variables[0], variables[1:]
    for power in range(degree // weight + 1):
        for other in _monomials(rest, degree - power * weight):
            yield np.broadcast_to(first**power * other, first.shape)


def _spread_out(variables: list[tuple[Array, int]], count: int, *, seed: int) -> Index:
    """Choose rows: half along each variable in turn, its ends among them, half by lot."""
    each = max(2, -(-count // (2 * len(variables))))
    chosen = [np.random.default_rng(seed).permutation(len(variables[0][0]))[: count // 2]]
    for values, _ in variables:
        order = np.argsort(values, kind="stable")
        # closer at the ends, where a polynomial is least held
        steps = (1 - np.cos(np.linspace(0, np.pi, each))) / 2 * (len(order) - 1)
        chosen.append(order[np.rint(steps).astype(np.intp)])
    return np.unique(np.concatenate(chosen))
