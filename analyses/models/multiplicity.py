"""Several comparisons at once: Holm, and the exact distribution of the largest |t|.

The largest |t| of a family is a question about one direction: a multivariate t is a length times
a direction, the length squared over its dimension is F, and along a direction the family stays
inside its limits as long as the length is below limit / (largest projection). So the chance is
the mean of an F distribution over directions (Somerville 1998, Journal of Computational and
Graphical Statistics 7, 529-544). It holds for singular correlations as well, such as all pairs.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from analyses.models.fit import Array
from analyses.models.student import f_tail, t_two_sided

__all__ = ["LargestT", "holm", "largest_t"]

_SHIFTS = 8  # independent shifts of the point set; their spread is the error
_POINTS = 8192  # points of each shift
_BINS = 512  # directions with nearly the same largest projection are taken together
_PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 67, 71, 73, 79)
_RANK = 1e-9  # eigenvalues of a correlation matrix below this are zero


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
class LargestT:
    """Distribution of the largest |t| of a family, with the error of its integration.

    Attributes
    ----------
    rank : int
        Number of independent comparisons.
    projections : array, shape (bins,)
        Largest projections of the family over directions.
    weights : array, shape (shifts, bins)
        Share of the directions at each, by shift of the point set.
    """

    rank: int
    projections: Array
    weights: Array

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
        t, df = np.broadcast_arrays(np.asarray(t, float), np.asarray(df, float))
        if self.rank == 1:
            return t_two_sided(t, df), np.zeros(t.shape)
        lengths = (t[:, None] / self.projections) ** 2 / self.rank
        tails = f_tail(lengths, float(self.rank), df[:, None])
        each = np.asarray(tails @ self.weights.T, float)
        # 3.5 is the 99.5 % point of t with 7 df
        return each.mean(1), 3.5 * each.std(1, ddof=1) / np.sqrt(_SHIFTS)

    def critical(self, df: npt.ArrayLike, confidence: float) -> Array:
        """Give the limit that the largest |t| keeps with this confidence, for each df."""
        df = np.asarray(df, float)
        low, high = np.zeros(df.shape), np.full(df.shape, 2.0)
        while (over := self.p(high, df)[0] > 1 - confidence).any():
            high = np.where(over, 2 * high, high)
        for _ in range(60):
            middle = (low + high) / 2
            over = self.p(middle, df)[0] > 1 - confidence
            low, high = np.where(over, middle, low), np.where(over, high, middle)
            if np.max((high - low) / high) < 1e-13:
                break
        return np.asarray((low + high) / 2)


def largest_t(covariance: Array) -> LargestT:
    """Prepare the distribution of the largest |t| for contrasts with this covariance.

    Parameters
    ----------
    covariance : array, shape (m, m)
        Joint covariance of the contrasts, of any rank.
    """
    size = np.sqrt(np.diag(covariance))
    values, vectors = np.linalg.eigh(covariance / np.outer(size, size))
    used = values > _RANK * values[-1]
    rank = int(used.sum())
    if rank == 1:
        return LargestT(rank=1, projections=np.ones(1), weights=np.ones((_SHIFTS, 1)))
    loads = vectors[:, used] * np.sqrt(values[used])
    largest = np.abs(_directions(rank) @ loads.T).max(1)
    edges = np.linspace(largest.min(), largest.max(), _BINS + 1)
    place = np.clip(np.searchsorted(edges, largest, side="right") - 1, 0, _BINS - 1)
    shift = np.repeat(np.arange(_SHIFTS), _POINTS)
    counts = np.bincount(shift * _BINS + place, minlength=_SHIFTS * _BINS)
    weights = counts.reshape(_SHIFTS, _BINS) / _POINTS
    total = weights.sum(0)
    full = total > 0
    means = np.bincount(place, largest, _BINS)[full] / (total[full] * _POINTS)
    squares = np.bincount(place, largest**2, _BINS)[full] / (total[full] * _POINTS)
    spread = np.sqrt(np.maximum(squares - means**2, 0))
    # two points a bin keep its mean and its variance
    return LargestT(
        rank=rank,
        projections=np.concatenate([means - spread, means + spread]),
        weights=np.tile(weights[:, full] / 2, (1, 2)),
    )


@lru_cache(maxsize=8)
def _directions(rank: int) -> Array:
    """Spread directions evenly: a shifted lattice of square roots of primes, made normal."""
    rng = np.random.default_rng(20)
    dims = rank if rank > 3 else rank - 1
    steps = np.sqrt(np.array(_PRIMES[:dims], float)) if dims <= len(_PRIMES) else rng.random(dims)
    base = np.outer(np.arange(1, _POINTS + 1), steps)
    points = np.concatenate([(base + rng.random(dims)) % 1 for _ in range(_SHIFTS)])
    if rank == 2:
        turn = np.pi * points[:, 0]
        return np.column_stack([np.cos(turn), np.sin(turn)])
    if rank == 3:
        height, turn = 2 * points[:, 0] - 1, 2 * np.pi * points[:, 1]
        ring = np.sqrt(1 - height**2)
        return np.column_stack([ring * np.cos(turn), ring * np.sin(turn), height])
    normal = ndtri(np.clip(points, 1e-16, 1 - 1e-16))
    return np.asarray(normal / np.sqrt((normal**2).sum(1))[:, None])
