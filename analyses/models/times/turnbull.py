"""Times known only to lie between two looks: the most likely curve, and rank tests."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

__all__ = ["IntervalCurve", "IntervalRankTest", "check_looks", "interval_rank_test", "turnbull"]

Array: TypeAlias = npt.NDArray[np.float64]
Flags: TypeAlias = npt.NDArray[np.bool_]

_EM_STEPS = 300
_MOST_ROUNDS = 500
_EMPTY = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class IntervalCurve:
    """The most likely distribution of times known between looks.

    Attributes
    ----------
    left, right : ndarray, shape (pieces,)
        Ends of the pieces (left, right] that can hold mass; equal for an exact day, right infinite
        for times beyond the last look. Where in a piece the mass lies, nobody can know.
    mass : ndarray, shape (pieces,)
        Share of units in each piece; sums to 1.
    survival : ndarray, shape (pieces,)
        Share still without the event after each piece.
    loglik : float
        Log likelihood.
    median_low, median_high : float
        The piece in which the curve falls to a half.
    units : float
        Units behind the curve.
    """

    left: Array
    right: Array
    mass: Array
    survival: Array
    loglik: float
    median_low: float
    median_high: float
    units: float


@dataclass(frozen=True, slots=True, kw_only=True)
class IntervalRankTest:
    """A rank test of two groups of times known between looks.

    Attributes
    ----------
    score : float
        Sum of the centred scores of the second group; above zero where its events come earlier.
    statistic, p : float
        Standard normal statistic by the permutation variance, and two-sided p value.
    method : str
        The name of the scores.
    """

    score: float
    statistic: float
    p: float
    method: str


def check_looks(left: npt.ArrayLike, right: npt.ArrayLike) -> tuple[Array, Array]:
    """Give the looks as arrays, or raise ValueError when they cannot be.

    Parameters
    ----------
    left : array_like, shape (n,)
        Day of the last look without the event; 0 when there was none.
    right : array_like, shape (n,)
        Day of the first look with the event; infinite when it was never seen; equal to `left` when
        the day itself is known.
    """
    low, high = np.asarray(left, float), np.asarray(right, float)
    if low.ndim != 1 or low.shape != high.shape or len(low) == 0:
        raise ValueError(f"looks {low.shape} and {high.shape} must be two equal rows")
    if not np.isfinite(low).all() or (low < 0).any() or np.isnan(high).any():
        raise ValueError("first looks must be finite and not below zero, second looks numbers")
    if (low > high).any():
        raise ValueError("a look with the event cannot lie before the last look without it")
    return low, high


def _pieces(low: Array, high: Array) -> tuple[Array, Array]:
    """Give the innermost intervals: a left end directly followed by a right end.

    Notes
    -----
    Turnbull (1976), JRSS B 38, 290-295; intervals are open to the left, so at one day the right
    ends come before the left ends, and exact days before both.
    """
    exact = low == high
    ends = np.concatenate([low[~exact], low[exact], high])
    order = np.concatenate(
        [np.full((~exact).sum(), 1), np.full(exact.sum(), -1), np.zeros(len(high))]
    )
    is_left = np.concatenate([np.ones(len(low), bool), np.zeros(len(high), bool)])
    by = np.lexsort((order, ends))
    ends, is_left = ends[by], is_left[by]
    hit = np.flatnonzero(is_left[:-1] & ~is_left[1:])
    return ends[hit], ends[hit + 1]


def _holds(low: Array, high: Array, left: Array, right: Array) -> Array:
    """Give 1 where the interval of a unit (row) holds a piece (column)."""
    exact_unit, exact_piece = (low == high)[:, None], left == right
    starts = np.where(exact_piece & ~exact_unit, low[:, None] < left, low[:, None] <= left)
    # An open piece that begins on an exact day does not lie in that day.
    starts &= ~(exact_unit & ~exact_piece)
    return (starts & (right <= high[:, None])).astype(float)


def _newton(holds: Array, weight: Array, mass: Array, active: Flags) -> Array:
    """Give the constrained Newton direction over the active pieces; it sums to zero."""
    part = holds[:, active]
    chance = holds @ mass
    slope = part.T @ (weight / chance)
    bend = part.T @ (part * (weight / chance**2)[:, None])
    k = int(active.sum())
    system = np.zeros((k + 1, k + 1))
    system[:k, :k], system[:k, k], system[k, :k] = bend, 1.0, 1.0
    target = np.append(slope - weight.sum(), 0.0)
    step = np.zeros_like(mass)
    step[active] = np.linalg.lstsq(system, target, rcond=None)[0][:k]
    return step


def _most_likely(holds: Array, weight: Array) -> Array:
    """Give the masses: self-consistency steps, then Newton with an active set."""
    total, pieces = weight.sum(), holds.shape[1]
    mass = np.full(pieces, 1 / pieces)
    for _ in range(_EM_STEPS):
        mass = mass * (holds.T @ (weight / (holds @ mass))) / total
    active = mass > _EMPTY
    mass = np.where(active, mass, 0) / mass[active].sum()
    for _ in range(_MOST_ROUNDS):
        step = _newton(holds, weight, mass, active)
        if np.abs(step).max() < 1e-13:
            gain = holds.T @ (weight / (holds @ mass)) / total
            idle = np.where(active, -np.inf, gain)
            if idle.max() <= 1 + 1e-9:
                break
            active[int(idle.argmax())] = True
            continue
        falling = active & (step < 0)
        room = np.min(-mass[falling] / step[falling], initial=np.inf)
        mass = _shortened(holds, weight, mass, step * min(1.0, room))
        if room <= 1:
            active &= mass > 1e-14
            mass = np.where(active, mass, 0)
    return np.asarray(mass / mass.sum())


def _shortened(holds: Array, weight: Array, mass: Array, step: Array) -> Array:
    """Give the masses after a step, halved until the likelihood does not fall."""

    def value(at: Array) -> float:
        chance = holds @ at
        return float(weight @ np.log(chance)) if (chance > 0).all() else -np.inf

    before = value(mass)
    for _ in range(40):
        new = np.maximum(mass + step, 0)
        if value(new) >= before - 1e-12 * abs(before):
            return new
        step = step / 2
    return mass


def turnbull(
    left: npt.ArrayLike, right: npt.ArrayLike, weight: npt.ArrayLike | None = None
) -> IntervalCurve:
    """Give the most likely distribution of times known only between two looks.

    Parameters
    ----------
    left : array_like, shape (n,)
        Day of the last look without the event; 0 when there was none.
    right : array_like, shape (n,)
        Day of the first look with the event; infinite when never seen; equal to `left` when exact.
    weight : array_like, shape (n,), optional
        Units behind each row.

    Notes
    -----
    Turnbull (1976), JRSS B 38, 290-295. The maximum is checked by its slopes (Gentleman & Geyer
    1994, Biometrika 81, 618-623): no piece without mass would raise the likelihood.

    Examples
    --------
    Ten bags looked at on days 7 and 14: three were done by day 7, five more by day 14.

    >>> curve = turnbull([0, 7, 14], [7, 14, float("inf")], [3, 5, 2])
    >>> curve.survival.round(3).tolist()
    [0.7, 0.2, 0.0]
    """
    low, high = check_looks(left, right)
    units = np.ones(len(low)) if weight is None else np.asarray(weight, float)
    if units.shape != low.shape or (units < 0).any() or units.sum() == 0:
        raise ValueError("weights must be one for each row, not below zero and not all zero")
    used = units > 0
    low, high, units = low[used], high[used], units[used]
    start, end = _pieces(low, high)
    holds = _holds(low, high, start, end)
    mass = _most_likely(holds, units)
    survival = np.maximum(0.0, 1 - np.cumsum(mass))
    middle = int(np.flatnonzero(survival <= 0.5 + 1e-9)[0])
    return IntervalCurve(
        left=start,
        right=end,
        mass=mass,
        survival=survival,
        loglik=float(units @ np.log(holds @ mass)),
        median_low=float(start[middle]),
        median_high=float(end[middle]),
        units=float(units.sum()),
    )


def interval_rank_test(
    left: npt.ArrayLike,
    right: npt.ArrayLike,
    second: npt.ArrayLike,
    *,
    scores: Literal["sun", "finkelstein"] = "sun",
) -> IntervalRankTest:
    """Test whether two groups of times known between looks differ.

    Parameters
    ----------
    left, right : array_like, shape (n,)
        Looks, as for `turnbull`.
    second : array_like of bool, shape (n,)
        Whether a unit belongs to the second group.
    scores : {"sun", "finkelstein"}
        Log-rank scores with discrete hazards (Sun 1996, Statist. Med. 15, 1387-1395) or with their
        logarithms (Finkelstein 1986, Biometrics 42, 845-854).

    Notes
    -----
    Scores from the curve of all units together and the permutation variance: Fay & Shaw (2010), J.
    Stat. Softw. 36(2), section 3. Units must have been looked at alike in both groups.
    """
    low, high = check_looks(left, right)
    z = np.asarray(second, float)
    if not 0 < z.sum() < len(z):
        raise ValueError("both groups need at least one unit")
    curve = turnbull(low, high)
    holds = _holds(low, high, curve.left, curve.right)
    before = np.concatenate([[1.0], curve.survival[:-1]])
    after = np.where(curve.survival < _EMPTY, 0.0, curve.survival)
    with np.errstate(divide="ignore", invalid="ignore"):
        hazard = np.where(before > _EMPTY, curve.mass / before, 0.0)
        log_after = -np.cumsum(hazard) if scores == "sun" else np.log(after)
        log_before = np.concatenate([[0.0], log_after[:-1]])
        rise = np.where(before > _EMPTY, before * log_before, 0.0)
        fall = np.where(after > 0, after * log_after, 0.0)
    chance = holds @ curve.mass
    each = holds @ (rise - fall) / chance
    score = float(z @ (each - each.mean()))
    n = len(z)
    variance = float(((each - each.mean()) ** 2).sum() * ((z - z.mean()) ** 2).sum() / (n - 1))
    statistic = score / variance**0.5 if variance > 0 else float("nan")
    name = "log-rank scores of " + ("Sun" if scores == "sun" else "Finkelstein")
    return IntervalRankTest(
        score=score,
        statistic=statistic,
        p=float(2 * ndtr(-abs(statistic))),
        method=f"{name}, permutation variance",
    )
