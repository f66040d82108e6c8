"""Sums that a statistic needs, over all the ways to give the labels of a block to its units.

When each block is randomised on its own, a statistic that adds up over blocks needs no layout
written out: the sums of each block are tabulated once and joined block by block, with equal sums
kept once (Pagano & Tritchler 1983, J. Amer. Statist. Assoc. 78, 435-440).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from analyses.models.numerics.jets import Array

__all__ = [
    "BlockSteps",
    "SumCounts",
    "TooManySums",
    "arrangements",
    "count_beyond",
    "count_layouts",
    "count_ratios_beyond",
    "joined",
    "sum_counts",
]

Codes = npt.NDArray[np.int8]
Ways = npt.NDArray[np.int64]
SumCounts = tuple[Array, Ways]

_MOST_SUMS = 4_000_000  # distinct sums kept at once
_MOST_STEPS = 3_000_000  # sums worked out on the way through one block; beyond, drawing is quicker
_MOST_LAYOUTS = 2**62  # what an integer of 64 bits can count
_NOTHING = 1e-9  # a second sum, which goes with numbers of units, that is 0 but for rounding


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockSteps:
    """One block whose labels are shuffled among its units.

    Parameters
    ----------
    counts
        How often each label is used in the block.
    steps
        What each unit adds under each label, shape (units, labels, sums).
    finish
        Turns sums over the block into what is added over blocks, shape (layouts, sums) to
        (layouts, other sums); None where the sums themselves are.
    """

    counts: tuple[int, ...]
    steps: Array
    finish: Callable[[Array], Array] | None = None

    @property
    def layouts(self) -> int:
        """Distinct ways to give the labels to the units."""
        return count_layouts(self.counts)

    def of(self, layouts: Codes) -> Array:
        """Give the sums of written-out layouts, codes of shape (layouts, units)."""
        total = np.zeros((len(layouts), self.steps.shape[2]))
        for code in range(self.steps.shape[1]):
            added = np.flatnonzero(self.steps[:, code].any(axis=0))
            if len(added):
                total[:, added] += (layouts == code).astype(float) @ self.steps[:, code, added]
        return self.finish(total) if self.finish else total


class TooManySums(Exception):
    """There are more distinct sums than can be kept; draw layouts instead."""


def count_layouts(counts: Sequence[int]) -> int:
    """Count the ways to give labels used `counts` times to as many units."""
    ways = math.factorial(sum(counts))
    for count in counts:
        ways //= math.factorial(count)
    return ways


@lru_cache(maxsize=64)
def arrangements(counts: tuple[int, ...]) -> Codes:
    """List every distinct order of label codes, code k used counts[k] times.

    Returns
    -------
    Codes
        Shape (ways, units).
    """
    found = {tuple(0 for _ in counts): np.zeros((1, 0), np.int8)}
    for _ in range(sum(counts)):
        longer: dict[tuple[int, ...], list[Codes]] = {}
        for used, rows in found.items():
            for code, count in enumerate(counts):
                if used[code] < count:
                    key = (*used[:code], used[code] + 1, *used[code + 1 :])
                    last = np.full((len(rows), 1), code, np.int8)
                    longer.setdefault(key, []).append(np.concatenate([rows, last], axis=1))
        found = {key: np.concatenate(parts) for key, parts in longer.items()}
    return found[counts]


def _merged(values: Array, weights: npt.NDArray[np.int64], grain: float) -> SumCounts:
    """Keep sums that agree to within the grain once, with the layouts they stand for."""
    if len(values) > _MOST_SUMS:
        raise TooManySums
    keys = np.rint(values / grain)
    order = np.lexsort(keys.T)
    fresh = np.ones(len(order), bool)
    fresh[1:] = (np.diff(keys[order], axis=0) != 0).any(axis=1)
    starts = np.flatnonzero(fresh)
    return values[order[starts]], np.add.reduceat(weights[order], starts)


def sum_counts(block: BlockSteps, grain: float) -> SumCounts:
    """Give the distinct sums of one block and how many layouts lead to each.

    Parameters
    ----------
    block
        The block.
    grain
        Sums closer than this are the same.

    Raises
    ------
    TooManySums
        If there are more than can be kept, or than are worth working out.
    """
    if block.layouts > _MOST_LAYOUTS:
        raise TooManySums
    counts = block.counts
    start = (np.zeros((1, block.steps.shape[2])), np.ones(1, np.int64))
    found = {tuple(0 for _ in counts): start}
    worked = 0
    for unit in block.steps:
        worked += sum(len(ways) for _, ways in found.values())
        if worked > _MOST_STEPS:
            raise TooManySums
        longer: dict[tuple[int, ...], list[SumCounts]] = {}
        for used, (values, weights) in found.items():
            for code, count in enumerate(counts):
                if used[code] < count:
                    key = (*used[:code], used[code] + 1, *used[code + 1 :])
                    longer.setdefault(key, []).append((values + unit[code], weights))
        found = {key: _together(parts, grain) for key, parts in longer.items()}
    values, weights = found[counts]
    return _merged(block.finish(values), weights, grain) if block.finish else (values, weights)


def _together(parts: list[SumCounts], grain: float) -> SumCounts:
    """Pool sums that use the same labels."""
    values = np.concatenate([values for values, _ in parts])
    return _merged(values, np.concatenate([weights for _, weights in parts]), grain)


def joined(first: SumCounts, second: SumCounts, grain: float) -> SumCounts:
    """Add every sum of one set of blocks to every sum of another."""
    size = len(first[0]) * len(second[0])
    if size > _MOST_SUMS or int(first[1].sum()) * int(second[1].sum()) > _MOST_LAYOUTS:
        raise TooManySums
    values = (first[0][:, None] + second[0][None]).reshape(size, -1)
    return _merged(values, np.outer(first[1], second[1]).ravel(), grain)


def count_beyond(blocks: Sequence[SumCounts], limit: float, grain: float) -> tuple[int, int]:
    """Count the layouts whose one sum over all blocks is `limit` or more, either way.

    The blocks are joined into two halves that meet in the middle: for each sum of one half the
    sums of the other that reach the limit are found by search (Horowitz & Sahni 1974).

    Returns
    -------
    tuple
        Layouts beyond, layouts in all.
    """
    (left, left_ways), (right, right_ways) = _halves(blocks, grain)
    total = int(left_ways.sum()) * int(right_ways.sum())
    if limit <= 0:
        return total, total
    order = np.argsort(right[:, 0], kind="stable")
    values = right[order, 0]
    below = np.concatenate([[0], np.cumsum(right_ways[order])])
    high = below[-1] - below[np.searchsorted(values, limit - left[:, 0], "left")]
    low = below[np.searchsorted(values, -limit - left[:, 0], "right")]
    if total <= _MOST_LAYOUTS:
        return int(np.dot(high + low, left_ways)), total
    return sum(int(n) * int(w) for n, w in zip(high + low, left_ways, strict=True)), total


def count_ratios_beyond(blocks: Sequence[SumCounts], limit: float, grain: float) -> tuple[int, int]:
    """Count the layouts whose first sum over the second is `limit` or more, either way.

    The second sum is never below 0; layouts in which it is 0 are left out. The halves meet in the
    middle as in `count_beyond`, for each pair of second sums by itself.

    Returns
    -------
    tuple
        Layouts beyond, layouts that have the ratio.

    Raises
    ------
    TooManySums
        If there are more layouts or sums than can be counted.
    """
    halves = _halves(blocks, grain)
    if math.prod(int(ways.sum()) for _, ways in halves) > _MOST_LAYOUTS:
        raise TooManySums
    left, right = (_by_second(half) for half in halves)
    beyond = total = 0
    for first, sums, ways, _ in left:
        for second, values, _, below in right:
            if first + second <= _NOTHING:
                continue
            every = int(ways.sum()) * int(below[-1])
            edge, total = limit * (first + second), total + every
            if limit <= 0:
                beyond += every
                continue
            high = below[-1] - below[np.searchsorted(values, edge - sums, "left")]
            low = below[np.searchsorted(values, -edge - sums, "right")]
            beyond += int(np.dot(high + low, ways))
    return beyond, total


def _halves(blocks: Sequence[SumCounts], grain: float) -> list[SumCounts]:
    """Join the blocks into two halves that have about as many sums."""
    start = (np.zeros((1, blocks[0][0].shape[1])), np.ones(1, np.int64))
    halves = [start, start]
    for block in sorted(blocks, key=lambda one: -len(one[0])):
        small = int(len(halves[1][0]) < len(halves[0][0]))
        halves[small] = joined(halves[small], block, grain)
    return halves


def _by_second(half: SumCounts) -> list[tuple[float, Array, Ways, Ways]]:
    """Give each second sum with its first sums in order, their ways, and the ways below each."""
    values, ways = half
    seconds, which = np.unique(np.round(values[:, 1] / _NOTHING), return_inverse=True)
    found = []
    for place, second in enumerate(seconds):
        mine = np.flatnonzero(which == place)
        mine = mine[np.argsort(values[mine, 0], kind="stable")]
        below = np.concatenate([[0], np.cumsum(ways[mine])])
        found.append((float(second * _NOTHING), values[mine, 0], ways[mine], below))
    return found
