"""Search the variances of many small trials at once, by the steps of `reml`.

What is rare is left to the search for one trial: a start from which no step is sure is given back
as unsure.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from itertools import combinations

import numpy as np

from analyses.models.linear.arrays import Array, Codes, Flags
from analyses.models.linear.criterion import Point, evaluate
from analyses.models.linear.general import General
from analyses.models.linear.tolerances import (
    BLURRED,
    CORNER,
    DECREMENT,
    FLOOR,
    HALVINGS,
    HANDFUL,
    LOWER,
    ROUNDING,
    SLOPING,
    STEPS,
    VANISHED,
)

__all__ = ["LowPoints", "corners", "lowest_of_many", "search_many"]

_NUMBERS = 100_000  # that the sums of the trials searched at a time may hold
_SPECK = 1e-10  # a variance of a random term this small, next to the data's, is set to zero
_LAST_HALVINGS = 4  # of a step so short that rounding may hide the fall


@dataclass(frozen=True, slots=True, kw_only=True)
class LowPoints:
    """Where searches ended.

    Attributes
    ----------
    theta : array, shape (n, k)
        Variances, scaled as `criterion.Point` has them.
    criterion : array, shape (n,)
        -2 log restricted likelihood there.
    found : array of bool, shape (n,)
        Whether this is a proper low point.
    unsure : array of bool, shape (n,)
        Whether the search for one trial might find one all the same.
    at_zero : array of bool, shape (n, k)
        Variances held at zero.
    """

    theta: Array
    criterion: Array
    found: Flags
    unsure: Flags
    at_zero: Flags


def corners(k: int, residuals: int) -> Array:
    """Give starts with one or two residual variances low, and all random terms or one high.

    Parameters
    ----------
    k, residuals : int
        Number of variances, and of residual ones among them.

    Returns
    -------
    array, shape (starts, k)
    """
    first = k - residuals
    starts = []
    for size in range(1, min(residuals, 3)):
        for low in combinations(range(first, k), size):
            for high in (range(first), *([one] for one in range(first))):
                start = np.full(k, CORNER)
                start[list(high)] = start[first:] = 1.0
                start[list(low)] = CORNER
                starts.append(start / k)
    return np.array(starts)


def search_many(stack: General, starts: Array, owner: Codes) -> LowPoints:
    """Find the low point downhill of each start.

    Parameters
    ----------
    stack : General
        Trials of one shape, along one leading axis.
    starts : array, shape (n, k)
        Variances, none of them zero.
    owner : array of int, shape (n,)
        Which trial each start belongs to.
    """
    size = max(1, stack.sums[0].size + stack.total[0].size)
    at_once = max(1, _NUMBERS // size)
    parts = [
        _Search(stack.of(owner[low : low + at_once]), starts[low : low + at_once]).run()
        for low in range(0, len(starts), at_once)
    ]
    return LowPoints(
        theta=np.concatenate([part.theta for part in parts]),
        criterion=np.concatenate([part.criterion for part in parts]),
        found=np.concatenate([part.found for part in parts]),
        unsure=np.concatenate([part.unsure for part in parts]),
        at_zero=np.concatenate([part.at_zero for part in parts]),
    )


def lowest_of_many(stack: General) -> LowPoints:
    """Find the lowest point of each trial, as `reml.maximise` does for one.

    Parameters
    ----------
    stack : General
        Trials of one shape, along one leading axis.

    Returns
    -------
    LowPoints
        One entry a trial; not found where the search for one trial might tell more.
    """
    trials, k = stack.group_rows.shape[0], len(stack.names)
    owner, starts = np.arange(trials), np.full((trials, k), 1.0 / k)
    few = np.flatnonzero(np.asarray(stack.rows) <= HANDFUL)
    if stack.residuals > 1 and len(few):
        more = corners(k, stack.residuals)
        owner = np.concatenate([owner, np.repeat(few, len(more))])
        starts = np.concatenate([starts, np.tile(more, (len(few), 1))])
    all_found = search_many(stack, starts, owner)
    best = np.arange(trials)
    for at in np.flatnonzero(all_found.found[trials:]) + trials:
        of = owner[at]
        if all_found.criterion[at] < all_found.criterion[best[of]] - LOWER:
            best[of] = at
    sure = all_found.found[:trials].copy()
    sure[owner[all_found.unsure]] = False
    return replace(
        LowPoints(**{each.name: getattr(all_found, each.name)[best] for each in fields(LowPoints)}),
        found=sure,
    )


class _Search:
    """The state of all searches; those that are `on` still run."""

    def __init__(self, stack: General, starts: Array) -> None:
        self.stack, self.g = stack, stack.residuals
        n, k = starts.shape
        self.theta, self.step, self.gradient = starts.copy(), np.zeros((n, k)), np.zeros((n, k))
        self.average, self.expected = np.zeros((2, n, k, k))
        self.criterion, self.decrement = np.full((2, n), np.inf)
        self.found, self.unsure = np.zeros((2, n), bool)
        self.on, self.fresh, self.scoring = np.ones((3, n), bool)
        self.rows = np.asarray(stack.rows, float)
        self.halved = np.zeros(n, int)
        self.drawn: tuple[Codes, General] | None = None

    def run(self) -> LowPoints:
        self._begin()
        for _ in range(4 * STEPS):
            self._plan()
            if not self.on.any():
                break
            self._try()
        return LowPoints(
            theta=self.theta, criterion=self.criterion, found=self.found, unsure=self.unsure,
            at_zero=self._bound(np.arange(len(self.theta))),
        )  # fmt: skip

    def _begin(self) -> None:
        """Evaluate the starts; leave those whose variances cannot be told apart."""
        everything = np.arange(len(self.theta))
        self.on[:] = False
        for at, point in self._evaluated(everything, self.theta):
            self._move(at, point, np.ones(len(at), bool))
            size = np.sqrt(np.maximum(np.diagonal(point.expected, axis1=1, axis2=2), 0))
            told = (size * point.theta > 1e-7).all(1)
            size[~told] = 1.0
            values = np.linalg.eigvalsh(point.expected / (size[:, :, None] * size[:, None]))
            self.on[at] = told & (values[:, 0] >= 1e-10)
        self.scoring[:] = True

    def _evaluated(self, at: Codes, theta: Array) -> list[tuple[Codes, Point]]:
        """Evaluate some searches; those where the covariance is singular are left out."""
        try:
            return [(at, evaluate(self._of(at), theta))]
        except np.linalg.LinAlgError:
            half = len(at) // 2
            if not half:
                return []
            first = self._evaluated(at[:half], theta[:half])
            return first + self._evaluated(at[half:], theta[half:])

    def _of(self, at: Codes) -> General:
        if self.drawn is None or not np.array_equal(self.drawn[0], at):
            self.drawn = at, self.stack.of(at)
        return self.drawn[1]

    def _bound(self, at: Codes) -> Flags:
        """Say which variances are zero, or as good as that; see `reml`."""
        bound = self.theta[at] == 0
        if self.g > 1:
            bound[:, -self.g :] = self.theta[at, -self.g :] <= 1.5 * FLOOR
        return np.asarray(bound)

    def _floor(self, at: Codes) -> Array:
        """Give how low each variance may go in one step."""
        floor = np.zeros((len(at), self.theta.shape[1]))
        floor[:, -self.g :] = self.theta[at, -self.g :] / 20
        if self.g > 1:
            floor[:, -self.g :] = np.maximum(floor[:, -self.g :], FLOOR)
        return floor

    def _plan(self) -> None:
        """Choose the next step where the last one was made; end where it would be nothing."""
        at = np.flatnonzero(self.on & self.fresh)
        free = ~self._bound(at) | (self.gradient[at] < 0)
        expected = self.expected[at]
        observed = np.where(self.scoring[at, None, None], expected, 2 * self.average[at] - expected)
        sure = np.zeros(len(at), bool)
        for information in (observed, self.average[at], expected):
            left = np.flatnonzero(~sure)
            if not len(left):
                break
            some = at[left]
            lowest = self._floor(some) - self.theta[some]
            steps = _downhill(information[left], self.gradient[some], free[left], lowest)
            self.step[some], self.decrement[some], sure[left] = steps
        self.unsure[at[~sure]], self.on[at[~sure]] = True, False
        self.fresh[at] = False
        nothing = np.where(self._blurred(at), BLURRED, DECREMENT)
        self._end(at[sure & (self.decrement[at] <= nothing)])

    def _blurred(self, at: Codes) -> Flags:
        held = self._bound(at) & (self.gradient[at] >= 0)
        return np.asarray(held[:, -self.g :].any(1))

    def _end(self, at: Codes) -> None:
        """End searches at a low point, unless the criterion would fall for ever."""
        falls = self._bound(at) & (self.theta[at] * self.gradient[at] > SLOPING)
        self.found[at], self.on[at] = ~falls.any(1), False

    def _try(self) -> None:
        """Make the step where the criterion does not rise; halve it elsewhere."""
        at = np.flatnonzero(self.on)
        shorter = np.full(len(self.on), 0.25)
        to = np.maximum(self.theta[at] + self.step[at], self._floor(at))
        to[:, : -self.g][to[:, : -self.g] < _SPECK] = 0.0
        for some, point in self._evaluated(at, to):
            slack = 1e-13 * (np.abs(self.criterion[some]) + self.rows[some])
            good = point.criterion <= self.criterion[some] + slack
            self._move(some, point, good)
            shorter[some] = np.where(good, 1.0, 0.5)
        stay = at[shorter[at] < 1]
        self.step[stay] *= shorter[stay, None]
        self.halved[stay] += 1
        self._give_up(stay)
        if self.g == 1:
            self.on &= self.theta[:, -1] >= VANISHED * np.maximum(self.theta.max(1), 1.0)

    def _move(self, at: Codes, point: Point, good: Flags) -> None:
        there = at[good]
        for name in ("theta", "criterion", "gradient", "average", "expected"):
            getattr(self, name)[there] = getattr(point, name)[good]
        self.halved[there], self.scoring[there], self.fresh[there] = 0, False, True

    def _give_up(self, at: Codes) -> None:
        """End where halving leads nowhere: at rest but for rounding, or to be scored, or lost."""
        short = self.decrement[at] <= np.where(self._blurred(at), 100 * BLURRED, ROUNDING)
        most = np.where(short, _LAST_HALVINGS, HALVINGS - 1)
        over = self.halved[at] >= most
        self._end(at[over & short])
        again = at[over & ~short & ~self.scoring[at]]
        self.on[at[over & ~short & self.scoring[at]]] = False
        self.scoring[again], self.fresh[again], self.halved[again] = True, True, 0


def _downhill(
    information: Array, gradient: Array, free: Flags, lowest: Array
) -> tuple[Array, Array, Flags]:
    """Give the step of the free variances, the squared distance it goes, and whether it is sure.

    A variance that would fall below the lowest that it may goes there, and the others are solved
    for again; where that is not downhill, the step is the one before.
    """
    step, definite = _solved(information, gradient, free)
    distance = -(gradient * step).sum(1)
    best, held = step, np.zeros(free.shape, bool)
    for _ in range(free.shape[1]):
        below = free & ~held & (best < lowest)
        if not below.any():
            break
        held |= below
        fixed = np.where(held, lowest, 0.0)
        pull = gradient + (information @ fixed[..., None])[..., 0]
        best = np.where(held, lowest, _solved(information, pull, free & ~held)[0])
    good = definite & ((gradient * best).sum(1) < 0)
    return np.where(good[:, None], best, step), distance, definite & (distance >= -DECREMENT)


def _solved(information: Array, gradient: Array, free: Flags) -> tuple[Array, Flags]:
    """Solve for the free variances; say where their information is definite."""
    eye = np.eye(gradient.shape[1], dtype=bool)
    masked = np.where(free[:, :, None] & free[:, None], information, 0.0)
    diagonal = np.diagonal(masked, axis1=1, axis2=2)
    size = np.sqrt(np.where(free & (diagonal > 0), diagonal, 1.0))
    scaled = np.where(eye & ~free[:, None], 1.0, masked / (size[:, :, None] * size[:, None]))
    values, vectors = np.linalg.eigh(scaled)
    definite = values[:, 0] > 0
    values[~definite] = 1.0
    right = np.where(free, -gradient, 0.0) / size
    inner = (vectors.swapaxes(1, 2) @ right[..., None]) / values[..., None]
    return (vectors @ inner)[..., 0] / size, definite
