"""Balanced incomplete blocks developed from base blocks by adding 1 to every treatment.

Bose (1939), Annals of Eugenics 9, 353-399: with base blocks whose differences hold every number
equally often, every pair of treatments meets equally often. One treatment may stay in place while
the others go around, and a base block may return to itself before the round is full.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations

import numpy as np

from trials.designs.efficiency import Array

__all__ = ["balanced_by_cycling"]

_MOST_PAIRS = 6_000_000
_MOST_TRIES = 300_000

_Pairs = tuple[int, ...]


def balanced_by_cycling(sizes: Sequence[int], replicates: Sequence[int]) -> Array | None:
    """Give a balanced layout in incomplete blocks, where this way of making one finds it.

    Parameters
    ----------
    sizes : sequence of int
        Places in each block.
    replicates : sequence of int
        Units of each treatment.

    Returns
    -------
    array, shape (treatments, blocks), or None
        None also where blocks or replication are unequal, blocks are as large as the treatments
        are many, or the counts forbid balance.
    """
    treatments, blocks, size = len(replicates), len(sizes), sizes[0]
    if len(set(sizes)) > 1 or len(set(replicates)) > 1 or size >= treatments:
        return None
    meetings, left = divmod(replicates[0] * (size - 1), treatments - 1)
    if left or not meetings:
        return None
    if blocks == treatments:
        base = _difference_set(treatments, size, meetings)
        if base is not None:
            return _as_counts(_turned(base, treatments), treatments, blocks)
    for fixed in (False, True):
        found = _develop(treatments, blocks, size, meetings, fixed=fixed)
        if found is not None:
            return _as_counts(found, treatments, blocks)
    return None


def _as_counts(found: Iterable[tuple[int, ...]], treatments: int, blocks: int) -> Array:
    counts = np.zeros((treatments, blocks))
    for number, members in enumerate(found):
        counts[list(members), number] = 1
    return counts


def _difference_set(treatments: int, size: int, meetings: int) -> tuple[int, ...] | None:
    """Find one base block whose differences hold every number equally often (Singer 1938).

    Trans. Amer. Math. Soc. 43, 377-385. One step at a time, given up as soon as a difference comes
    too often.
    """
    often, chosen, tries = [0] * treatments, [0], 0

    def extend() -> bool:
        nonlocal tries
        if len(chosen) == size:
            return True
        for new in range(chosen[-1] + 1, treatments):
            tries += len(chosen)
            if tries > _MOST_TRIES:
                return False
            steps = [step for old in chosen for step in (new - old, old - new + treatments)]
            for step in steps:
                often[step] += 1
            chosen.append(new)
            if max(often[step] for step in steps) <= meetings and extend():
                return True
            chosen.pop()
            for step in steps:
                often[step] -= 1
        return False

    return tuple(chosen) if extend() else None


def _develop(
    treatments: int, blocks: int, size: int, meetings: int, *, fixed: bool
) -> list[tuple[int, ...]] | None:
    """Choose base blocks so that each kind of pair is covered equally often."""
    around = treatments - 1 if fixed else treatments
    orbits = _orbits(treatments, size, around)
    if orbits is None:
        return None
    kinds = around // 2 + fixed
    full = tuple(
        meetings * _pairs_of_kind(kind, around, fixed=fixed) for kind in range(1, kinds + 1)
    )
    chosen = _cover(orbits, blocks, full)
    if chosen is None:
        return None
    return [block for orbit in chosen for block in orbit]


def _pairs_of_kind(kind: int, around: int, *, fixed: bool) -> int:
    """Count the pairs of treatments at one distance; the last kind holds the one in place."""
    if fixed and kind == around // 2 + 1:
        return around
    return around // 2 if 2 * kind == around else around


def _orbits(
    treatments: int, size: int, around: int
) -> list[tuple[tuple[tuple[int, ...], ...], _Pairs]] | None:
    """List the rounds of blocks and how many pairs of each kind they cover."""
    seen: set[tuple[int, ...]] = set()
    listed, looked_at = [], 0
    for base in combinations(range(treatments), size):
        looked_at += size
        if looked_at > _MOST_PAIRS:
            return None
        if base in seen:
            continue
        looked_at += around * size * (size - 1) // 2
        orbit = tuple(dict.fromkeys(_turned(base, around)))
        seen.update(orbit)
        covered = Counter(
            _kind(one, other, around) for block in orbit for one, other in combinations(block, 2)
        )
        kinds = around // 2 + (treatments > around)
        listed.append((orbit, tuple(covered[kind] for kind in range(1, kinds + 1))))
    return listed


def _turned(base: tuple[int, ...], around: int) -> Iterator[tuple[int, ...]]:
    for shift in range(around):
        yield tuple(sorted((one + shift) % around if one < around else one for one in base))


def _kind(one: int, other: int, around: int) -> int:
    if other >= around:
        return around // 2 + 1
    apart = (other - one) % around
    return min(apart, around - apart)


def _cover(
    orbits: list[tuple[tuple[tuple[int, ...], ...], _Pairs]], blocks: int, full: _Pairs
) -> list[tuple[tuple[int, ...], ...]] | None:
    """Choose rounds, each as often as wanted, that cover every kind of pair exactly."""
    tries = 0
    chosen: list[tuple[tuple[int, ...], ...]] = []

    def extend(start: int, room: int, open_pairs: _Pairs) -> bool:
        nonlocal tries
        if room == 0:
            return not any(open_pairs)
        for number in range(start, len(orbits)):
            orbit, covered = orbits[number]
            tries += 1
            if tries > _MOST_TRIES:
                return False
            left = tuple(a - b for a, b in zip(open_pairs, covered, strict=True))
            if len(orbit) > room or min(left) < 0:
                continue
            chosen.append(orbit)
            if extend(number, room - len(orbit), left):
                return True
            chosen.pop()
        return False

    return chosen if extend(0, blocks, full) else None
