"""Rehearsed losses: counts of units, or shares of whole batches, for many trials at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyses.losses.batch_limits import BatchShares, held_limits, spared, spreadless_limits
from analyses.losses.table import layers
from analyses.models.counts.stratified_score import stratified_limits
from analyses.models.counts.two_proportions import score_limits
from analyses.rehearsing.fit import Compared, Limits, Rows, compare_many, limits_of
from analyses.rehearsing.yields import control_first, pieces
from trials.records import Records
from trials.simulate import Simulated
from trials.trial import Claim

__all__ = ["ByCounts", "ByShares", "by_counts", "by_shares"]

Array: TypeAlias = npt.NDArray[np.float64]
Index: TypeAlias = npt.NDArray[np.intp]

_MOST = 2**24  # more than the units of any stratum; two such numbers fit a float


@dataclass(frozen=True, slots=True, kw_only=True)
class ByCounts:
    """Units that count each for itself, within strata where there are any.

    Parameters
    ----------
    treatment, stratum : array of int, shape (units,)
        0 is the control; strata from 0.
    stratified : bool
        Whether units are compared within strata.
    claim : {"better", "no worse", "same"}
        Decides which interval is used without strata.
    level : float
        Confidence for all comparisons together.
    """

    treatment: Index
    stratum: Index
    stratified: bool
    claim: Claim
    level: float

    def chunk(self, simulated: Simulated) -> dict[str, Array]:
        """Count the lost units of each treatment and stratum, shape (treatments, strata, trials).

        Parameters
        ----------
        simulated : Simulated
        """
        return {"lost": self._sums(simulated.lost.astype(float))}

    def finish(self, parts: dict[str, Array]) -> Limits:
        """Give the intervals of all trials; tables that come up again are compared once.

        Parameters
        ----------
        parts : dict of str to array
            Of all chunks, the trials behind each other.
        """
        lost = parts["lost"]
        made = self._sums(np.ones((len(self.treatment), 1)))[:, :, 0]
        shared = 1 - (1 - self.level) / (len(made) - 1)
        each = [
            self._compare(lost[one], made[one], lost[0], made[0], shared)
            for one in range(1, len(made))
        ]
        value, low, high = (100 * np.stack(part) for part in zip(*each, strict=True))
        control = 100 * lost[0].sum(axis=0) / made[0].sum()
        return Limits(value=value, low=low, high=high, control=control)

    def _sums(self, counts: Array) -> Array:
        treatments, strata = int(self.treatment.max()) + 1, int(self.stratum.max()) + 1
        sums = np.zeros((treatments * strata, counts.shape[1]))
        np.add.at(sums, self.treatment * strata + self.stratum, counts)
        return sums.reshape(treatments, strata, -1)

    def _compare(
        self, x1: Array, n1: Array, x2: Array, n2: Array, level: float
    ) -> tuple[Array, Array, Array]:
        """Compare two treatments; losses of shape (strata, trials), totals (strata,)."""
        both = np.flatnonzero((n1 > 0) & (n2 > 0))
        if not len(both):
            nothing = np.full(x1.shape[1], np.nan)
            return nothing, nothing, nothing
        # Strata of the same sizes may change places: fewer tables differ.
        key = (x1[both] * _MOST + x2[both]).T
        kinds = np.unique(np.stack([n1[both], n2[both]]), axis=1, return_inverse=True)[1].ravel()
        for kind in np.unique(kinds):
            key[:, kinds == kind] = np.sort(key[:, kinds == kind], axis=1)
        tables, back = np.unique(key, axis=0, return_inverse=True)
        a, c = np.divmod(tables, _MOST)
        found = self._limits(a, n1[both], c, n2[both], level)
        value, low, high = (part[back.ravel()] for part in found)
        return value, low, high

    def _limits(
        self, x1: Array, n1: Array, x2: Array, n2: Array, level: float
    ) -> tuple[Array, Array, Array]:
        if self.stratified:
            weight = n1 * n2 / (n1 + n2)
            value = (weight / weight.sum() * (x1 / n1 - x2 / n2)).sum(axis=1)
            return value, *stratified_limits(x1, n1, x2, n2, level)
        a, m1, c, m2 = x1[:, 0], n1[0], x2[:, 0], n2[0]
        low, high = score_limits(a, m1, c, m2, level, corrected=self.claim == "better")
        return a / m1 - c / m2, low, high


def by_counts(records: Records, *, level: float) -> ByCounts:
    """Plan the analysis of units that count each for itself.

    Parameters
    ----------
    records : Records
        Of one simulated trial.
    level : float
        Confidence for all comparisons together.
    """
    layer = layers(records)
    stratum = np.zeros(len(records.bags), np.intp)
    if layer is not None:
        stratum = np.unique(layer.labels.to_numpy(str), return_inverse=True)[1]
    aim = records.trial.aim
    return ByCounts(
        treatment=control_first(records),
        stratum=stratum,
        stratified=layer is not None,
        claim=aim.claim if aim.outcome == "contamination" else "better",
        level=level,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ByShares:
    """Whole batches, each counting once.

    Parameters
    ----------
    batch : array of int, shape (units,)
        The batch of each unit.
    rows : Rows
        One row a batch.
    level : float
        Confidence for all comparisons together.
    """

    batch: Index
    rows: Rows
    level: float

    def chunk(self, simulated: Simulated) -> dict[str, Array]:
        """Compare the shares of some trials.

        Parameters
        ----------
        simulated : Simulated
        """
        batches = int(self.batch.max()) + 1
        lost = np.zeros((batches, simulated.lost.shape[1]))
        np.add.at(lost, self.batch, simulated.lost)
        shares = 100 * lost / np.bincount(self.batch)[:, None]
        return {**pieces(compare_many(shares, self.rows)), "shares": shares}

    def finish(self, parts: dict[str, Array]) -> Limits:
        """Give the intervals of all trials, settled as for one by `by_batch`.

        Parameters
        ----------
        parts : dict of str to array
            Of all chunks, the trials behind each other.
        """
        shares = parts["shares"]
        compared = {name: part for name, part in parts.items() if name != "shares"}
        limits = limits_of(Compared(**compared), self.level)
        value, low, high = limits.value.copy(), limits.low.copy(), limits.high.copy()
        made = np.bincount(self.batch).astype(float)
        for place in range(len(value)):
            mine, control = (self.rows.treatment == one for one in (place + 1, 0))
            pair = (shares[mine], shares[control], made[mine], made[control])
            self._settle(pair, value[place], low[place], high[place], len(value))
        return Limits(value=value, low=low, high=high, control=limits.control, error=limits.error)

    def _settle(
        self,
        pair: tuple[Array, Array, Array, Array],
        value: Array,
        low: Array,
        high: Array,
        family: int,
    ) -> None:
        """Keep limits possible, hold them near none and all, and give those without spread."""
        mine, control, *made = pair
        shared = 1 - (1 - self.level) / family
        known = np.flatnonzero(np.isfinite(value))
        if len(known):
            seen = BatchShares(mine[:, known], control[:, known], *made)
            low[known], high[known] = held_limits(
                seen, value[known], low[known], high[known], shared
            )
        flat = ~np.isfinite(value) & spared(mine) & spared(control)
        sizes = len(mine), len(control)
        for at in np.flatnonzero(flat) if min(sizes) > 1 else ():
            every = bool(mine[0, at] > 0), bool(control[0, at] > 0)
            value[at] = mine[0, at] - control[0, at]
            low[at], high[at] = spreadless_limits(every, sizes, shared)


def by_shares(records: Records, *, level: float) -> ByShares:
    """Plan the analysis of whole batches.

    Parameters
    ----------
    records : Records
        Of one simulated trial, every unit of which is in a batch.
    level : float
        Confidence for all comparisons together.
    """
    bags, treatment = records.bags, control_first(records)
    names = list(zip(treatment.tolist(), bags["block"], bags["batch"], strict=True))
    order = {name: place for place, name in enumerate(dict.fromkeys(names))}
    batch = np.array([order[name] for name in names], np.intp)
    block = np.unique([block for _, block, _ in order], return_inverse=True)[1]
    blocked = records.layout.randomisation.endswith("within blocks") and block.max() > 0
    rows = Rows(
        treatment=np.array([one for one, _, _ in order], np.intp),
        groups=(("block", block),) if blocked else (),
        clusters=np.arange(len(order)),
    )
    return ByShares(batch=batch, rows=rows, level=level)
