"""Which treatments share a block, where a block cannot hold them all.

An exchange search on the A-criterion (John & Williams 1995, Cyclic and Computer Generated Designs,
chapter 4): from a start drawn by lot, the exchange of two units of different blocks that lowers
the average variance of a difference most is made, until none lowers it; then again from another
start. Where the numbers allow a balanced layout, designs developed from one set of base blocks
(Bose 1939, Ann. Eugenics 9, 353-399) are tried as well.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trials.designs.cyclic import balanced_by_cycling
from trials.designs.efficiency import Array, efficiency, mean_variance
from trials.designs.shuffle import Lot

__all__ = ["search_blocks"]

_STARTS = 30
_WORK = 5e8
"""Units of work, about so many operations. Bounds the time, not by a clock, so that a seed gives
the same layout on a slow machine."""
_STEP_WORK = 4e5  # what a step costs however small the layout
_TRIED_EXACTLY = 60
_DIGITS = 9  # what rounding differs in between machines must not decide


def search_blocks(sizes: Sequence[int], replicates: Sequence[int], lot: Lot) -> Array:
    """Find how often each treatment stands in each block.

    Parameters
    ----------
    sizes : sequence of int
        Places in each block.
    replicates : sequence of int
        Units of each treatment; as many in all as there are places.
    lot : Lot
        The source of randomness.

    Returns
    -------
    array, shape (treatments, blocks)
        Balanced where one was found; otherwise the best that was found.
    """
    known = balanced_by_cycling(sizes, replicates)
    if known is not None:
        return known
    best, best_score, work = _start(sizes, replicates, lot), np.inf, 0.0
    for _ in range(_STARTS):
        counts, score, spent = _descend(_start(sizes, replicates, lot), lot, _WORK - work)
        work += spent
        if score < best_score:
            best, best_score = counts, score
            found = efficiency(best)
            if found.factor > found.bound - 1e-9:
                break
        if work > _WORK:
            break
    return best


def _start(sizes: Sequence[int], replicates: Sequence[int], lot: Lot) -> Array:
    """Fill the blocks in a drawn order with what is left most of, ties by lot."""
    left, numbers = list(replicates), range(len(replicates))
    counts = np.zeros((len(replicates), len(sizes)))
    for block in lot.shuffled(range(len(sizes))):
        room = sizes[block]
        while room:
            ranked = sorted(lot.shuffled(numbers), key=lambda one: -left[one])
            taken = [one for one in ranked if left[one] > 0][:room]
            for one in taken:
                left[one] -= 1
                counts[one, block] += 1
            room -= len(taken)
    return counts


def _descend(counts: Array, lot: Lot, allowed: float) -> tuple[Array, float, float]:
    """Exchange until nothing gains, or until the work allowed is done."""
    score, work = float(mean_variance(counts)), 0.0
    while work < allowed:
        moves = _promising(counts, _exchanges(counts))
        tried = np.repeat(counts[None], len(moves), axis=0)
        at = np.arange(len(moves))
        first, here, second, there = moves.T
        for row, column, change in (
            (first, here, -1), (first, there, 1), (second, there, -1), (second, here, 1)
        ):  # fmt: skip
            tried[at, row, column] += change
        work += len(moves) * len(counts) ** 3 + 20 * counts.sum() ** 2 + _STEP_WORK
        scores = np.round(mean_variance(tried), _DIGITS)
        ties = np.flatnonzero(scores == scores.min())
        chosen = ties[lot.below(len(ties))]
        if not scores[chosen] < round(score, _DIGITS):
            break
        counts, score = tried[chosen], float(scores[chosen])
    return counts, score, work


def _promising(counts: Array, moves: Array) -> Array:
    """Keep the exchanges that gain most to first order.

    The sum of variances is the trace of the inverse C+ of C = R - N K^-1 N'; its change with C is
    -trace(C+ dC C+) (Magnus & Neudecker 1988, Matrix Differential Calculus, section 9.5).
    """
    if len(moves) <= _TRIED_EXACTLY:
        return moves
    sizes = counts.sum(axis=0)
    information = np.diag(counts.sum(axis=1)) - (counts / sizes) @ counts.T
    inverse = np.linalg.pinv(information, hermitian=True)
    square = inverse @ inverse
    reach = square @ counts
    first, here, second, there = moves.T
    own = square[first, first] + square[second, second] - 2 * square[first, second]
    change = (2 * (reach[second, here] - reach[first, here]) + own) / sizes[here]
    change -= (2 * (reach[second, there] - reach[first, there]) - own) / sizes[there]
    order = np.argsort(np.round(change, _DIGITS), kind="stable")
    return moves[order[:_TRIED_EXACTLY]]


def _exchanges(counts: Array) -> Array:
    """List exchanges: a treatment and its block, another treatment and another block."""
    units = np.argwhere(counts > 0)
    one, other = np.triu_indices(len(units), 1)
    apart = (units[one] != units[other]).all(axis=1)
    return np.concatenate([units[one[apart]], units[other[apart]]], axis=1)
