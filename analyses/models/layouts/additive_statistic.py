"""Statistics of layouts randomised block by block, from sums that add up over blocks.

Within blocks the reduced normal equations are q = sum over blocks of (label totals - label counts
x block mean) and C = sum over blocks of (diag(n) - n n' / n.), n the label counts among the units
present. Without losses C is the same in all layouts, and the difference of two labels is one
weighted sum of responses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyses.models.layouts.adjusted_labels import compare_labels
from analyses.models.layouts.drawn_sums import draw_sums
from analyses.models.layouts.relabelling_sums import (
    BlockSteps,
    Codes,
    SumCounts,
    TooManySums,
    count_beyond,
    count_ratios_beyond,
    joined,
    sum_counts,
)
from analyses.models.numerics.jets import Array

__all__ = ["AdditiveStatistic"]

_LEVEL = 1e-13  # of the largest response; residuals below are rounding
_GRAIN = 1e-11  # of the responses' spread; sums closer than this are the same
_CHUNK = 100_000  # layouts compared at once
_MOST_JOINED = 10_000_000  # layouts compared in all; beyond, drawing is quicker


@dataclass(frozen=True, slots=True, kw_only=True)
class AdditiveStatistic:
    """A statistic of all layouts, from sums over blocks.

    Parameters
    ----------
    blocks
        The blocks with what each unit adds under each label.
    information
        C where it is the same in all layouts, else None and C follows q in the sums.
    statistic
        "difference", "treatments", or "sum" where the only sum is the statistic.
    labels
        Number of labels but one.
    observed
        The statistic of the layout used.
    scale
        Size of the statistic's rounding error over machine precision.
    spread
        Largest response, adjusted for blocks.
    repeats
        Layouts that each layout of `blocks` stands for, where labels were pooled.
    """

    blocks: tuple[BlockSteps, ...]
    information: Array | None
    statistic: str
    labels: int
    observed: float
    scale: float
    spread: float
    repeats: int

    @classmethod
    def of(
        cls, codes: Codes, blocks: npt.NDArray[np.intp], response: Array, statistic: str
    ) -> AdditiveStatistic:
        """Prepare the statistic of a layout.

        Parameters
        ----------
        codes
            Label codes, 0 compared with, the last compared, shape (units,).
        blocks
            Block codes, shape (units,).
        response
            NaN where lost, shape (units,).
        statistic
            "difference" or "treatments".
        """
        units = [np.flatnonzero(blocks == block) for block in np.unique(blocks)]
        labels = int(codes.max())
        present = np.isfinite(response)
        residual = _within_blocks(response, present, blocks)
        steps = [_label_steps(residual[one], present[one], labels) for one in units]
        counts = [tuple(np.bincount(codes[one], minlength=labels + 1).tolist()) for one in units]
        whole = [
            BlockSteps(counts=n, steps=s, finish=_Information(labels, bool(present[one].all())))
            for n, s, one in zip(counts, steps, units, strict=True)
        ]
        own = sum(
            (block.of(codes[one][None]) for block, one in zip(whole, units, strict=True)),
            np.zeros(1),
        )
        information = _square(own[:, labels:], labels)
        observed = float(compare_labels(own[:, :labels].T, information, statistic)[0])
        largest = float(np.abs(response[present]).max(initial=0.0))
        spread = float(np.abs(residual).max(initial=0.0))
        if spread <= _LEVEL * largest:
            # Equal responses but for rounding: every layout is as extreme as the one drawn.
            spread = largest or 1.0
        self = cls(
            blocks=tuple(whole),
            information=None,
            statistic=statistic,
            labels=labels,
            observed=observed,
            scale=spread if statistic == "difference" else spread**2 * len(codes),
            spread=spread,
            repeats=1,
        )
        if not present.all():
            return self
        return self._without_losses(information, residual, [codes[one] for one in units], units)

    def _without_losses(
        self,
        information: Array,
        residual: Array,
        codes: list[Codes],
        units: list[npt.NDArray[np.intp]],
    ) -> AdditiveStatistic:
        """Use that C is the same in all layouts."""
        fixed = {
            "statistic": self.statistic, "labels": self.labels, "observed": self.observed,
            "scale": self.scale, "spread": self.spread,
        }  # fmt: skip
        if self.statistic == "treatments" or not math.isfinite(self.observed):
            blocks = tuple(
                BlockSteps(counts=b.counts, steps=b.steps[:, :, : self.labels]) for b in self.blocks
            )
            return AdditiveStatistic(
                blocks=blocks,
                information=information,
                repeats=1,
                **fixed,  # type: ignore[arg-type]
            )
        weights = _label_weights(information, self.labels)
        pooled, classes = np.unique(weights, return_inverse=True)
        blocks = tuple(
            BlockSteps(
                counts=tuple(np.bincount(classes[own], minlength=len(pooled)).tolist()),
                steps=(residual[one][:, None] * pooled[None])[:, :, None],
            )
            for own, one in zip(codes, units, strict=True)
        )
        every = math.prod(b.layouts for b in self.blocks)
        repeats = every // math.prod(b.layouts for b in blocks)
        fixed["statistic"] = "sum"
        return AdditiveStatistic(
            blocks=blocks,
            information=None,
            repeats=repeats,
            **fixed,  # type: ignore[arg-type]
        )

    def _values(self, sums: Array) -> Array:
        """Give the statistic of sums over all blocks, shape (layouts, sums)."""
        if self.statistic == "sum":
            return sums[:, 0]
        information = self.information
        if information is None:
            information = _square(sums[:, self.labels :], self.labels)
        return compare_labels(sums[:, : self.labels].T, information, self.statistic)

    def _tally(self, sums: Array, limit: float, ways: npt.NDArray[np.int64]) -> tuple[int, int]:
        """Count layouts beyond the limit and those that can be compared."""
        values = self._values(sums)
        return int(ways[np.abs(values) >= limit].sum()), int(ways[~np.isnan(values)].sum())

    def count(self, limit: float) -> tuple[int, int]:
        """Count all layouts at least as extreme as `limit`, and all that can be compared.

        Raises
        ------
        TooManySums
            If there are more distinct sums than can be kept.
        """
        grain = _GRAIN * self.spread
        parts = [sum_counts(block, grain) for block in self.blocks]
        if self.statistic == "sum":
            beyond, total = count_beyond(parts, limit, grain)
            return beyond * self.repeats, total * self.repeats
        if self.statistic == "difference" and self.labels == 1 and self.information is None:
            return count_ratios_beyond(parts, limit, grain)
        *others, last = sorted(parts, key=lambda one: len(one[0]))
        start: SumCounts = (np.zeros((1, last[0].shape[1])), np.ones(1, np.int64))
        for part in others:
            start = joined(start, part, grain)
        if len(start[0]) * len(last[0]) > _MOST_JOINED:
            raise TooManySums
        beyond = total = 0
        step = max(1, _CHUNK // len(last[0]))
        for begin in range(0, len(start[0]), step):
            values = start[0][begin : begin + step, None] + last[0][None]
            ways = np.outer(start[1][begin : begin + step], last[1]).ravel()
            more, all_ = self._tally(values.reshape(len(ways), -1), limit, ways)
            beyond, total = beyond + more, total + all_
        return beyond, total

    def draw(self, limit: float, draws: int, generator: np.random.Generator) -> tuple[int, int]:
        """Draw layouts; count those at least as extreme and those that can be compared."""
        beyond = total = 0
        for sums in draw_sums(self.blocks, draws, generator):
            more, all_ = self._tally(sums, limit, np.ones(len(sums), np.int64))
            beyond, total = beyond + more, total + all_
        return beyond, total


@dataclass(frozen=True, slots=True)
class _Information:
    """Turns label counts of a block into its part of C, upper triangle."""

    labels: int
    whole: bool  # no unit of the block is lost, so that all layouts have the same counts

    def __call__(self, sums: Array) -> Array:
        """Replace counts by diag(n) - n n' / n. and keep q, shape (layouts, sums)."""
        i, j = np.triu_indices(self.labels)
        told = np.empty((len(sums), self.labels + len(i)))
        told[:, : self.labels] = sums[:, : self.labels]
        n = (sums[:1] if self.whole else sums)[:, self.labels :].T
        for place, (one, other) in enumerate(zip(i, j, strict=True), start=self.labels):
            taken = n[one] * n[other] / np.maximum(n[-1], 1.0)
            told[:, place] = n[one] - taken if one == other else -taken
        return told


def _square(upper: Array, labels: int) -> Array:
    """Give C from its upper triangle, shape (labels, labels, layouts)."""
    i, j = np.triu_indices(labels)
    square = np.empty((labels, labels, len(upper)))
    square[i, j] = square[j, i] = upper.T
    return square


def _label_steps(residual: Array, present: npt.NDArray[np.bool_], labels: int) -> Array:
    """Give what each unit adds under each label: to q, to the label counts, to all units there."""
    steps = np.zeros((len(residual), labels + 1, 2 * labels + 1))
    for label in range(1, labels + 1):
        steps[:, label, label - 1] = residual
        steps[:, label, labels + label - 1] = present
    steps[:, :, -1] = present[:, None]
    return steps


def _within_blocks(
    response: Array, present: npt.NDArray[np.bool_], blocks: npt.NDArray[np.intp]
) -> Array:
    """Take block means off the responses; 0 where lost."""
    counts = np.bincount(blocks, weights=present)
    middle = response[present].mean() if present.any() else 0.0
    y = np.where(present, response - middle, 0.0)
    means = np.bincount(blocks, weights=y) / np.maximum(counts, 1.0)
    return np.where(present, y - means[blocks], 0.0)


def _label_weights(information: Array, labels: int) -> Array:
    """Give the weight of each label's total in the difference, label 0 first."""
    unit = np.eye(labels)
    columns = np.broadcast_to(information, (labels, labels, labels))
    solved = compare_labels(unit, columns, "difference")
    return np.round(np.concatenate([[0.0], solved]), 14)
