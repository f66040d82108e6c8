"""Several comparisons at once: Holm, and the exact distribution of the largest |t|.

The largest |t| of a family is a question about one direction: a multivariate t is a length times
a direction, the length squared over its dimension is F, and along a direction the family stays
inside its limits as long as the length is below limit / (largest projection). So the chance is
the mean of an F distribution over directions (Somerville 1998, Journal of Computational and
Graphical Statistics 7, 529-544). It holds for singular correlations as well, such as all pairs.
Only the difference from a neighbouring family with a known answer is taken over directions.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from analyses.models.families.largest import (
    Quadrature,
    pairs_correlation,
    shared_control,
    studentised_range,
)
from analyses.models.linear.arrays import Array
from analyses.models.linear.student import f_tail, t_quantile, t_two_sided

__all__ = ["LargestT", "holm", "largest_t"]

_SHIFTS = 8  # independent shifts of the point set; their spread is the error
# points of a shift and generator of their Korobov lattice, chosen for least error in up to
# eleven dimensions of functions with square-integrable mixed derivatives
_LATTICE = (8191, 3788)
_FINE_LATTICE = (32749, 6011)
_BINS = 128  # directions with nearly the same largest projection are taken together
_RANK = 1e-9  # eigenvalues of a correlation matrix below this are zero
_SAME = 1e-9  # correlations that differ by less are the same family
_CLOSE = 1e-10  # a limit keeps its chance to this share
_NEAR = 0.25  # a family this close serves as a neighbour


def holm(p: npt.ArrayLike) -> Array:
    """Adjust p values by Holm (1979), Scandinavian Journal of Statistics 6, 65-70.

    Parameters
    ----------
    p : array-like, shape (m,)
        Unadjusted p values; NaN ones stay so and do not count.
    """
    p = np.asarray(p, float)
    adjusted = np.full(p.shape, np.nan)
    known = np.flatnonzero(~np.isnan(p))
    order = known[np.argsort(p[known], kind="stable")]
    steps = p[order] * np.arange(len(order), 0, -1)
    adjusted[order] = np.minimum(1, np.maximum.accumulate(steps))
    return adjusted


@dataclass(frozen=True, slots=True, kw_only=True)
class _Directions:
    """Largest projections of a family over directions, gathered in bins.

    projections: shape (bins,); weights: share of the directions of each shift, (shifts, bins).
    """

    rank: int
    projections: Array
    weights: Array

    def p(self, t: Array, df: Array) -> Array:
        """Give the chance of a larger |t| by each shift, shape (m, shifts)."""
        lengths = (t[:, None] / self.projections) ** 2 / self.rank
        return np.asarray(f_tail(lengths, float(self.rank), df[:, None]) @ self.weights.T)


@dataclass(frozen=True, slots=True, kw_only=True)
class LargestT:
    """Distribution of the largest |t| of a family, with the error of its integration.

    Attributes
    ----------
    size : int
        Number of comparisons.
    known : Quadrature or None
        The family itself or a neighbour, whose answer is a double integral.
    family, neighbour : directions or None
        The family and the neighbour over directions; None where they are not needed.
    """

    size: int
    known: Quadrature | None
    family: _Directions | None = None
    neighbour: _Directions | None = None

    def p(self, t: npt.ArrayLike, df: npt.ArrayLike) -> tuple[Array, Array]:
        """Give the chance that the largest |t| exceeds each |t|, and its integration error.

        Parameters
        ----------
        t, df : array-like, shape (m,)
            Statistics and their degrees of freedom, which may differ and be fractional.

        Returns
        -------
        p, error : arrays, shape (m,)
            Adjusted p values; 99 % bounds on their error from the shifts.
        """
        t, df = (np.array(x, float) for x in np.broadcast_arrays(np.abs(t), df))
        if self.known is None and self.family is None:
            return t_two_sided(t, df), np.zeros(t.shape)
        p, error = np.zeros(t.shape), np.zeros(t.shape)
        if self.known is not None:
            p = self.known.p(t, df)
        if self.family is not None:
            each = self.family.p(t, df)
            if self.neighbour is not None:
                each = each - self.neighbour.p(t, df)
            p = p + each.mean(1)
            # 3.5 is the 99.5 % point of t with 7 df
            error = 3.5 * each.std(1, ddof=1) / np.sqrt(_SHIFTS)
        return np.clip(p, t_two_sided(t, df), 1), error

    def critical(self, df: npt.ArrayLike, confidence: float) -> Array:
        """Give the limit that the largest |t| keeps with this confidence, for each df."""
        each, back = np.unique(np.asarray(df, float), return_inverse=True)
        chance = 1 - confidence
        low = t_quantile(1 - chance / 2, each)
        if self.size == 1:
            return np.asarray(low[back])
        high = t_quantile(1 - chance / 2 / self.size, each)  # Bonferroni is wider
        f_low, f_high = (self.p(limit, each)[0] - chance for limit in (low, high))
        side = np.zeros(each.shape)
        for _ in range(60):  # regula falsi, Illinois variant
            middle = high - f_high * (high - low) / np.minimum(f_high - f_low, -1e-300)
            f = self.p(middle, each)[0] - chance
            if np.abs(f).max() < _CLOSE * chance or (high - low).max() < 1e-12:
                break
            up = f > 0
            f_high = np.where(up & (side > 0), f_high / 2, f_high)
            f_low = np.where(~up & (side < 0), f_low / 2, f_low)
            low, f_low = np.where(up, middle, low), np.where(up, f, f_low)
            high, f_high = np.where(up, high, middle), np.where(up, f_high, f)
            side = np.where(up, 1.0, -1.0)
        return np.asarray(middle[back])


def largest_t(covariance: Array) -> LargestT:
    """Prepare the distribution of the largest |t| for contrasts with this covariance.

    Parameters
    ----------
    covariance : array, shape (m, m)
        Joint covariance of the contrasts, of any rank.
    """
    size = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(size, size)
    if np.abs(correlation).min() > 1 - _SAME:
        return LargestT(size=1, known=None)
    known = _neighbour(correlation)
    if known is not None and np.abs(known.correlation - correlation).max() < _SAME:
        return LargestT(size=len(size), known=known)
    lattice = _LATTICE if known is not None else _FINE_LATTICE
    family = _over_directions(correlation, lattice)
    neighbour = _over_directions(known.correlation, lattice) if known is not None else None
    return LargestT(size=len(size), known=known, family=family, neighbour=neighbour)


def _neighbour(correlation: Array) -> Quadrature | None:
    m = len(correlation)
    means = round((1 + np.sqrt(1 + 8 * m)) / 2)
    if m > 2 and means * (means - 1) // 2 == m:
        gap = np.abs(pairs_correlation(means) - correlation).max()
        if gap < _NEAR:
            return studentised_range(means)
    known = shared_control(correlation)
    if known is not None and np.abs(known.correlation - correlation).max() < _NEAR:
        return known
    return None


def _over_directions(correlation: Array, lattice: tuple[int, int]) -> _Directions:
    values, vectors = np.linalg.eigh(correlation)
    used = values > _RANK * values[-1]
    rank = int(used.sum())
    # the symmetric root moves little when the correlation does, so neighbours stay in step
    root = vectors[:, used] * np.sqrt(values[used])
    largest = np.abs(_directions(rank, lattice) @ root.T).max(1)
    edges = np.linspace(largest.min(), largest.max(), _BINS + 1)
    place = np.clip(np.searchsorted(edges, largest, side="right") - 1, 0, _BINS - 1)
    shift = np.repeat(np.arange(_SHIFTS), lattice[0])
    counts = np.bincount(shift * _BINS + place, minlength=_SHIFTS * _BINS)
    weights = counts.reshape(_SHIFTS, _BINS) / lattice[0]
    total = counts.reshape(_SHIFTS, _BINS).sum(0)
    full = total > 0
    means = np.bincount(place, largest, _BINS)[full] / total[full]
    squares = np.bincount(place, largest**2, _BINS)[full] / total[full]
    spread = np.sqrt(np.maximum(squares - means**2, 0))
    # two points a bin keep its mean and its variance
    return _Directions(
        rank=rank,
        projections=np.concatenate([means - spread, means + spread]),
        weights=np.tile(weights[:, full] / 2, (1, 2)),
    )


@lru_cache(maxsize=4)
def _directions(rank: int, lattice: tuple[int, int]) -> Array:
    """Spread directions evenly: shifted Korobov lattices (Korobov 1959), made normal."""
    rng = np.random.default_rng(20)
    points, generator = lattice
    dims = rank if rank > 3 else rank - 1
    steps = np.array([pow(generator, power, points) for power in range(dims)])
    base = np.outer(np.arange(points), steps) % points / points
    spread = np.concatenate([(base + rng.random(dims)) % 1 for _ in range(_SHIFTS)])
    if rank == 2:
        turn = np.pi * spread[:, 0]
        return np.column_stack([np.cos(turn), np.sin(turn)])
    if rank == 3:
        height, turn = 2 * spread[:, 0] - 1, 2 * np.pi * spread[:, 1]
        ring = np.sqrt(1 - height**2)
        return np.column_stack([ring * np.cos(turn), ring * np.sin(turn), height])
    normal = ndtri(np.clip(spread, 1e-16, 1 - 1e-16))
    return np.asarray(normal / np.sqrt((normal**2).sum(1))[:, None])
