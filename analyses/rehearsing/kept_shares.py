"""Rehearsed shares kept from flush to flush: the mixed model of the plan, many trials at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyses.flush.kept_fit import CALLED_FOR, FEWEST
from analyses.models.flush.kept_many import kept_many, kept_many_batches
from analyses.rehearsing.fit import Compared, Limits, limits_of
from analyses.rehearsing.singly import Singly
from analyses.rehearsing.yields import control_first, pieces
from analyses.unit import UnitStory
from trials.records import Records
from trials.simulate import Simulated

__all__ = ["ByKeptShares", "by_kept_shares"]

Array: TypeAlias = npt.NDArray[np.float64]
Flags: TypeAlias = npt.NDArray[np.bool_]
Index: TypeAlias = npt.NDArray[np.intp]

_WORST = 1e-5
"""Relative error of an interpolated limit beyond which each is integrated by itself."""

_AT_ONCE = 100
"""Trials whose products are held at a time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ByKeptShares:
    """The share kept by REML with Kenward-Roger inference, as `analyses.flushes` has it.

    Parameters
    ----------
    treatment : array of int, shape (units,)
        0 is the control, the others are numbered in the order of the plan.
    block : array of int, shape (units,), or None
        None where there are no blocks.
    batch : array of int, shape (units,), or None
        Where batches are what counts; each lies in one block.
    level : float
        Confidence for all comparisons together.
    singly : Singly
        For the trials that are out of the ordinary.
    """

    treatment: Index
    block: Index | None
    batch: Index | None
    level: float
    singly: Singly

    def chunk(self, simulated: Simulated) -> dict[str, Array]:
        """Fit some trials.

        Parameters
        ----------
        simulated : Simulated
        """
        grams = np.moveaxis(simulated.grams, -1, 0)
        came = grams > 0
        logs = np.full(grams.shape, np.nan)
        np.log(grams, out=logs, where=came)
        usable = self._usable(came)
        m, trials = usable.shape[0] - 1, usable.shape[1]
        compared = Compared(
            value=np.full((m, trials), np.nan), df=np.full((m, trials), np.nan),
            covariance=np.full((m, m, trials), np.nan), control=np.full(trials, np.nan),
        )  # fmt: skip
        single = np.full((3, m, trials), np.nan)
        for which in self._fill(compared, logs, usable):
            single[..., which], compared.control[which] = self.singly.one(simulated, which)
        return {**pieces(compared), "single": single}

    def finish(self, parts: dict[str, Array]) -> Limits:
        """Give the intervals of all trials.

        Parameters
        ----------
        parts : dict of str to array
            Of all chunks, the trials behind each other.
        """
        many = {name: part for name, part in parts.items() if name != "single"}
        found, single = limits_of(Compared(**many), self.level, worst=_WORST), parts["single"]
        by_itself = np.isfinite(single[0])
        value, low, high = (
            np.where(by_itself, one, other)
            for one, other in zip(single, (found.value, found.low, found.high), strict=True)
        )
        return Limits(value=value, low=low, high=high, control=found.control, error=found.error)

    def _usable(self, came: Flags) -> Flags:
        """Say which treatments have a share, by the rules of `kept_fit.unusable`."""
        units = np.any(came, axis=2)
        own = np.arange(len(self.treatment)) if self.batch is None else self.batch
        found = []
        for one in range(int(self.treatment.max()) + 1):
            mine = self.treatment == one
            flushes = np.any(came[:, mine], axis=1).sum(axis=1)
            tries = sum(units[:, mine & (own == each)].any(axis=1) for each in set(own[mine]))
            found.append((flushes >= FEWEST) & (tries >= FEWEST))
        return np.stack(found)

    def _fill(self, compared: Compared, logs: Array, usable: Flags) -> list[int]:
        """Fill in the trials that can be fitted at once; give the numbers of the others."""
        left: list[int] = []
        patterns, which = np.unique(usable, axis=1, return_inverse=True)
        for number, pattern in enumerate(patterns.T):
            of = np.flatnonzero(which.ravel() == number)
            if pattern[0] and pattern.any() and pattern[1:].any():
                for low in range(0, len(of), _AT_ONCE):
                    left += self._fill_pattern(compared, logs, pattern, of[low : low + _AT_ONCE])
        return left

    def _fill_pattern(
        self, compared: Compared, logs: Array, pattern: Flags, of: Index
    ) -> list[int]:
        chosen = np.flatnonzero(pattern[self.treatment])
        place = np.cumsum(pattern) - 1
        treatment = place[self.treatment[chosen]]
        block = None if self.block is None else self.block[chosen]
        there = logs[np.ix_(of, chosen)]
        if self.batch is None:
            found = kept_many(there, treatment, block, called_for=CALLED_FOR)
        else:
            _, first, batch = np.unique(self.batch[chosen], return_index=True, return_inverse=True)
            block = None if block is None else block[first]
            found = kept_many_batches(there, batch, treatment[first], block)
        compared.control[of] = found.control
        variance = np.einsum("iit->it", found.covariance)
        good = found.sure & np.isfinite(found.df) & (variance >= 0)
        others = np.flatnonzero(pattern[1:])
        at = np.ix_(others, of)
        compared.value[at] = np.where(good, found.value, np.nan)
        compared.df[at] = np.where(good, found.df, np.nan)
        compared.covariance[np.ix_(others, others, of)] = found.covariance
        return [int(one) for one in of[~found.sure]]


def by_kept_shares(records: Records, unit: UnitStory, *, level: float) -> ByKeptShares | None:
    """Plan the analysis of shares kept for many trials.

    Parameters
    ----------
    records : Records
        Of one simulated trial.
    unit : UnitStory
    level : float
        Confidence for all comparisons together.

    Returns
    -------
    ByKeptShares or None
        None where batches are what counts and one lies in several blocks.
    """
    block, batch = (_codes(records.bags[name].to_numpy(str)) for name in ("block", "batch"))
    by_batch, blocked = unit.counted == "batch", bool(unit.blocks) and block.max() > 0
    if by_batch and blocked and len(set(zip(batch, block, strict=True))) > batch.max() + 1:
        return None
    return ByKeptShares(
        treatment=control_first(records),
        block=block if blocked else None,
        batch=batch if by_batch else None,
        level=level,
        singly=Singly(trial=records.trial, layout=records.layout),
    )


def _codes(labels: npt.NDArray[np.str_]) -> Index:
    return np.unique(labels, return_inverse=True)[1]
