"""What a unit started can be expected to bring, flush by flush: three parts joined.

Grams of flush k per unit started = share that still stands x chance that the flush comes x mean
weight when it comes. Ranges by parametric bootstrap from the joint fit (Efron & Tibshirani 1993,
An Introduction to the Bootstrap, sections 6.5 and 13.3).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyses.estimate import Span
from analyses.flush.counts import flush_watch, picked_flushes
from analyses.flush.story import Expected, Outlook
from analyses.models.flush.flush_draws import simulate_flushes
from analyses.models.flush.flush_parts import FlushParts, PartsModel, fit_parts
from analyses.models.flush.replacement import geometric_total
from trials.records import Records

__all__ = ["AHEAD", "DRAWS", "JointFit", "expected_flushes", "fit_joint", "outlooks"]

Array: TypeAlias = npt.NDArray[np.float64]

DRAWS = 2000
"""Trials simulated; fewer where bags and flushes are many, and none where fewer than the fewest."""

_FEWEST_DRAWS, _MOST_CELLS = 200, 4_000_000

AHEAD = 3
"""Flushes beyond those picked that are foretold where the fall is even."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JointFit:
    """The three parts of a trial, and of trials simulated from them.

    Parameters
    ----------
    codes : list of str
        Treatments, in order.
    picked : int
        Flushes picked.
    parts : FlushParts
        Of the trial.
    drawn : FlushParts or None
        Of the simulated trials; None where there are none.
    level : float
        Confidence.
    seed : int
        Of the simulation.
    failed : int
        Simulated trials that could not be fitted and are left out.
    """

    codes: list[str]
    picked: int
    parts: FlushParts
    drawn: FlushParts | None
    level: float
    seed: int
    failed: int = 0

    def span(self, value: float, draws: Array | None, unit: str) -> Span:
        """Give a value with the limits that its draws give; NaN without draws."""
        if draws is None:
            return Span(value=float(value), low=float("nan"), high=float("nan"), unit=unit)
        tail = (1 - self.level) / 2
        # Sorted by hand: an endless total is a draw too, and has no mean with its neighbour.
        low, high = np.quantile(draws, [tail, 1 - tail], method="inverted_cdf")
        return Span(value=float(value), low=float(low), high=float(high), unit=unit)


def fit_joint(
    records: Records,
    codes: list[str],
    model: PartsModel,
    *,
    level: float,
    residual: Array | None = None,
    draws: int = DRAWS,
    batches: bool = False,
) -> JointFit:
    """Fit the three parts and simulate trials from them.

    Parameters
    ----------
    records : Records
        The seed of its layout makes the simulation repeatable.
    codes : list of str
        Treatments with a flush that came.
    model : PartsModel
    level : float
        Confidence.
    residual : ndarray, optional, shape (flushes,)
        Residual variances of the logarithm by flush where they differ.
    draws : int
        Simulated trials; 0 for none.
    batches : bool
        Whether batches are what counts, so that bags of one batch share its luck.
    """
    watch = flush_watch(records, codes, batches=batches)
    affordable = _MOST_CELLS // max(watch.log_grams.size, 1)
    draws = min(draws, affordable) if affordable >= _FEWEST_DRAWS else 0
    parts = fit_parts(watch, model)
    drawn, failed, seed = None, 0, records.layout.seed
    if draws and np.isfinite(parts.expected).all() and np.isfinite(parts.residual).all():
        rng = np.random.default_rng([seed, draws])
        drawn = fit_parts(simulate_flushes(watch, parts, draws, rng, residual=residual), model)
        good = np.asarray(np.isfinite(drawn.expected).all(axis=(0, 1)), bool)
        failed = int((~good).sum())
        drawn = _only(drawn, good) if good.sum() > draws / 2 else None
    return JointFit(
        codes=codes, picked=picked_flushes(records), parts=parts, drawn=drawn, level=level,
        seed=seed, failed=failed,
    )  # fmt: skip


def _only(parts: FlushParts, good: npt.NDArray[np.bool_]) -> FlushParts:
    return FlushParts(**{name: getattr(parts, name)[..., good] for name in FlushParts.__slots__})


def expected_flushes(joint: JointFit) -> tuple[Expected, ...]:
    """Say what each flush of each treatment can be expected to bring.

    Parameters
    ----------
    joint : JointFit
    """
    grams, told = joint.parts.expected, []
    drawn = joint.drawn.expected if joint.drawn is not None else None
    for place, code in enumerate(joint.codes):
        total = grams[place, : joint.picked, 0].sum()
        totals = None if drawn is None else drawn[place, : joint.picked].sum(axis=0)
        for k in range(grams.shape[1]):
            mine = None if drawn is None else drawn[place, k]
            foretold = k >= joint.picked
            share = float("nan") if foretold else grams[place, k, 0] / total
            shares = None if mine is None or totals is None or foretold else mine / totals
            told.append(
                Expected(
                    treatment=code,
                    flush=k + 1,
                    grams=joint.span(grams[place, k, 0], mine, "g"),
                    share=joint.span(share, shares, "share"),
                    standing=float(joint.parts.standing[place, k, 0]),
                    comes=float(joint.parts.comes[place, k, 0]),
                    foretold=foretold,
                )
            )
    return tuple(told)


def outlooks(joint: JointFit) -> tuple[Outlook, ...]:
    """Say what each treatment brings over the flushes picked, and would without end.

    Parameters
    ----------
    joint : JointFit
        The total without end is NaN where the fall is not even; it is the first flush over one
        less the share kept.
    """
    told = []
    for place, code in enumerate(joint.codes):
        total, endless = (_sums(joint.parts, place, joint.picked, end) for end in (False, True))
        drawn = joint.drawn
        many = None if drawn is None else _sums(drawn, place, joint.picked, False)
        ends = None if drawn is None else _sums(drawn, place, joint.picked, True)
        kept = float(joint.parts.kept[place, 0])
        gives = joint.parts.standing * joint.parts.comes
        told.append(
            Outlook(
                treatment=code,
                total=joint.span(total[0], many, "g"),
                no_end=joint.span(endless[0], ends, "g"),
                picked_share=1 - kept**joint.picked if kept < 1 else (
                    0.0 if kept >= 1 else float("nan")
                ),
                flushes_given=float(gives[place, : joint.picked, 0].sum()),
            )
        )  # fmt: skip
    return tuple(told)


def _sums(parts: FlushParts, place: int, picked: int, endless: bool) -> Array:
    if endless:
        first, kept = parts.amount[place, 0], parts.kept[place]
        return np.where(np.isnan(kept), np.nan, geometric_total(first, kept))
    return np.asarray(parts.expected[place, :picked].sum(axis=0))
