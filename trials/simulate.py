"""Simulate the records of many trials of one layout at once; the trial is the last axis."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri, owens_t

from trials.assumptions import Assumptions, Spread, flush_shares
from trials.layout import Layout
from trials.simulated_days import SimulatedDays, draw_days
from trials.trial import Trial

__all__ = ["Places", "Simulated", "Truth", "draw_trials", "latent_correlation", "places"]

Array: TypeAlias = npt.NDArray[np.float64]
Flags: TypeAlias = npt.NDArray[np.bool_]
Index: TypeAlias = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What is true of each treatment, in the order of the plan.

    Parameters
    ----------
    means : tuple of float
        Grams that a bag gives when it is not lost and every flush comes.
    lost : tuple of float
        Share of the bags that are lost, 0 to below 1.
    kept : tuple of float
        Share of a flush that the next one keeps; empty takes that of the assumptions.
    days : tuple of float
        Median days to the stage that the plan asks about; empty draws none.
    """

    means: tuple[float, ...]
    lost: tuple[float, ...]
    kept: tuple[float, ...] = ()
    days: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """The units of a layout as numbers, each array of shape (units,).

    Parameters
    ----------
    treatment : array of int
        Place of the treatment in the plan.
    block, batch, grower : array of int
        From 0; all 0 where there are none.
    """

    treatment: Index
    block: Index
    batch: Index
    grower: Index

    @property
    def clusters(self) -> Index | None:
        """The batches, else the blocks, within which losses come together; None without either."""
        if self.batch.max(initial=0) > 0:
            return self.batch
        return self.block if self.block.max(initial=0) > 0 else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulated:
    """The records of many trials.

    Parameters
    ----------
    grams : array, shape (units, flushes, trials)
        0 where a flush did not come; NaN after a loss and where a weight was not written down.
    missing : array of bool, shape (units, flushes, trials)
        Where a weight was not written down.
    lost : array of bool, shape (units, trials)
        Contaminated.
    days : SimulatedDays or None
        None where no days were asked for.
    """

    grams: Array
    missing: Flags
    lost: Flags
    days: SimulatedDays | None = None

    @property
    def totals(self) -> Array:
        """Grams of each unit over all flushes; NaN where one is missing, shape (units, trials)."""
        known = np.where(np.isnan(self.grams), 0.0, self.grams).sum(axis=1)
        return np.where(self.missing.any(axis=1), np.nan, known)


def places(trial: Trial, layout: Layout) -> Places:
    """Give the units of a layout as numbers.

    Parameters
    ----------
    trial : Trial
    layout : Layout
    """
    order = {one.code: place for place, one in enumerate(trial.treatments)}
    return Places(
        treatment=np.array([order[slot.treatment] for slot in layout.slots], np.intp),
        block=_numbered([slot.block for slot in layout.slots]),
        batch=_numbered([slot.batch for slot in layout.slots]),
        grower=_numbered([trial.design.grower_of(slot.block) for slot in layout.slots]),
    )


def _numbered(names: Sequence[str]) -> Index:
    order = {name: place for place, name in enumerate(dict.fromkeys(names))}
    return np.array([order[name] for name in names], np.intp)


def draw_trials(
    units: Places,
    truth: Truth,
    assumptions: Assumptions,
    *,
    flushes: int,
    trials: int,
    generator: np.random.Generator,
    looks: Array | None = None,
) -> Simulated:
    """Draw the records of many trials.

    Parameters
    ----------
    units : Places
        The units of the layout.
    truth : Truth
        What is true of each treatment.
    assumptions : Assumptions
        How the crop varies.
    flushes : int
        How many are picked.
    trials : int
        How many trials.
    generator : numpy.random.Generator
        The source of randomness. The same one gives the same luck under another truth.
    looks : array, optional
        Days after spawning on which every unit is looked at; for a truth that holds days.

    Returns
    -------
    Simulated
        Weights that would fall below 0 are 0. Weights of lost units are never missing.
    """
    grams = _weights(units, truth, assumptions, flushes, trials, generator)
    lost = _losses(units, truth, assumptions, trials, generator)
    shape = (len(units.treatment), trials)
    late = generator.random(shape) < assumptions.late_losses
    picked = 1 + np.floor(generator.random(shape) * max(flushes - 1, 0)).astype(np.intp)
    picked = np.where(late & (flushes > 1), picked, 0)
    gone = lost[:, None] & (np.arange(flushes)[None, :, None] >= picked[:, None])
    unwritten = generator.random(grams.shape) < assumptions.missing
    missing = unwritten & ~lost[:, None]
    days = None
    if truth.days and looks is not None:
        days = draw_days(
            units.treatment, units.block, truth.days, assumptions, looks, lost, late, generator
        )
    return Simulated(
        grams=np.where(gone | missing, np.nan, grams), missing=missing, lost=lost, days=days
    )


def _weights(
    units: Places,
    truth: Truth,
    assumptions: Assumptions,
    flushes: int,
    trials: int,
    generator: np.random.Generator,
) -> Array:
    """Draw what each flush would weigh if no unit were lost, shape (units, flushes, trials)."""
    count, spread = len(units.treatment), assumptions.spread
    unit = _factors(generator, (count, trials), assumptions.cv_between_bags(flushes), spread)
    varying = [(units.block, assumptions.cv_block), (units.batch, assumptions.cv_batch)]
    if units.grower.max(initial=0) > 0:
        at_grower = units.grower * len(truth.means) + units.treatment
        varying += [
            (units.grower, assumptions.cv_grower), (at_grower, assumptions.cv_grower_treatment)
        ]  # fmt: skip
    for labels, cv in varying:
        groups = int(labels.max(initial=0)) + 1
        if groups > 1:
            unit *= _factors(generator, (groups, trials), cv, spread)[labels]
    unit *= np.asarray(truth.means)[units.treatment][:, None]
    flush = _factors(generator, (count, flushes, trials), assumptions.cv_flush, spread)
    kept = truth.kept or (assumptions.kept,) * len(truth.means)
    shares = np.stack([flush_shares(one, flushes) for one in kept])
    flush *= shares[units.treatment][:, :, None]
    fails = generator.random((count, flushes, trials)) < assumptions.flush_fails
    fails[:, 0] = False
    flush[fails] = 0.0
    flush *= unit[:, None]
    return np.maximum(flush, 0.0, out=flush)


def _factors(
    generator: np.random.Generator, shape: tuple[int, ...], cv: float, spread: Spread
) -> Array:
    """Draw factors with mean 1 and standard deviation `cv`."""
    drawn = generator.standard_normal(shape)
    if spread == "normal":
        return 1.0 + cv * drawn
    sigma = math.sqrt(math.log1p(cv**2))
    drawn *= sigma
    drawn -= sigma**2 / 2
    return np.exp(drawn, out=drawn)


def _losses(
    units: Places,
    truth: Truth,
    assumptions: Assumptions,
    trials: int,
    generator: np.random.Generator,
) -> Flags:
    """Draw which units are lost: a unit is, where its luck and its batch's fall low together."""
    own = generator.standard_normal((len(units.treatment), trials))
    points = np.array([ndtri(share) for share in truth.lost])
    together = np.zeros(len(points))
    if units.clusters is not None:
        together[:] = [latent_correlation(one, assumptions.batch_correlation) for one in truth.lost]
        groups = int(units.clusters.max()) + 1
        shared = generator.standard_normal((groups, trials))
        weight = together[units.treatment][:, None]
        own = np.sqrt(weight) * shared[units.clusters] + np.sqrt(1 - weight) * own
    return np.asarray(own < points[units.treatment][:, None])


def latent_correlation(share: float, correlation: float) -> float:
    """Give the correlation of the normal lucks behind losses with an intracluster correlation.

    Parameters
    ----------
    share : float
        Share lost.
    correlation : float
        Intracluster correlation of being lost, 0 to below 1.

    Notes
    -----
    The tetrachoric correlation of Pearson (1900), Phil. Trans. A 195, 1-47; both fall below h with
    chance Phi(h) - 2 T(h, sqrt((1 - r) / (1 + r))) (Owen 1956, Ann. Math. Statist. 27, 1075-1090).

    Examples
    --------
    >>> round(latent_correlation(0.5, 0.5), 4)
    0.7071
    """
    if not 0 < share < 1 or correlation == 0:
        return 0.0
    from scipy.optimize import brentq

    h = float(ndtri(share))

    def excess(r: float) -> float:
        both = float(ndtr(h) - 2 * owens_t(h, math.sqrt((1 - r) / (1 + r))))
        return both - share**2 - correlation * share * (1 - share)

    return float(brentq(excess, 0.0, 1 - 1e-12, xtol=1e-13))
