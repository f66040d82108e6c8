"""Flush by flush: does the bag still stand, does the flush come, how much does it bring.

Three parts, fitted to one trial or to many simulated ones at once. Thrown out is a hazard for each
stage, no flush is a chance for each flush, both logistic with Firth's penalty; the weight of a
flush that came is a mixed model of its logarithm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import expit

from analyses.models.batches.batched import fit_batch
from analyses.models.counts.firth import fit_firth_many

__all__ = ["FlushParts", "FlushWatch", "PartsModel", "fit_parts"]

Array: TypeAlias = npt.NDArray[np.float64]
Flags: TypeAlias = npt.NDArray[np.bool_]
Codes: TypeAlias = npt.NDArray[np.intp]

_MOST_STEPS, _CLOSE = 100, 1e-12
_WIDEST = 40.0
_LARGEST_LOG = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FlushWatch:
    """What was seen of each bag at each flush, of one trial or of many.

    Attributes
    ----------
    treatment : ndarray of int, shape (bags,)
        Places of the treatments, from 0.
    block : ndarray or None, shape (bags,)
        Labels; None where there are none.
    at_risk, lost : ndarray of bool, shape (bags, flushes) or (bags, flushes, trials)
        Whether a bag stood at the start of a stage and its fate in it is known; whether it was
        thrown out in it.
    looked : ndarray of bool, same shape
        Whether the flush was weighed, 0 g included.
    log_grams : ndarray, same shape
        Logarithm of grams; NaN where nothing came or nobody looked.
    batch : ndarray or None, shape (bags,)
        Labels of the batches within their blocks, where batches are what counts.
    """

    treatment: Codes
    block: npt.NDArray[np.generic] | None
    at_risk: Flags
    lost: Flags
    looked: Flags
    log_grams: Array
    batch: npt.NDArray[np.generic] | None = None

    @property
    def stacked(self) -> FlushWatch:
        """The same with an axis of trials."""
        if self.at_risk.ndim == 3:
            return self
        return FlushWatch(
            treatment=self.treatment, block=self.block, at_risk=self.at_risk[:, :, None],
            lost=self.lost[:, :, None], looked=self.looked[:, :, None],
            log_grams=self.log_grams[:, :, None], batch=self.batch,
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class PartsModel:
    """Which model of the weights.

    Attributes
    ----------
    straight : bool
        One slope of the logarithm a treatment; otherwise a level for each flush.
    spread_by_flush : bool
        Whether the step from logarithms back to grams is taken flush by flush.
    ahead : int
        Flushes beyond those watched to be foretold; 0 unless straight.
    """

    straight: bool = True
    spread_by_flush: bool = False
    ahead: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class FlushParts:
    """The three parts, flush by flush.

    Attributes
    ----------
    standing : ndarray, shape (treatments, flushes, trials)
        Share of the bags started that still stands when the flush is picked.
    comes : ndarray, same shape
        Chance that a bag that stands gives the flush.
    amount : ndarray, same shape
        Mean grams of a flush that came.
    kept : ndarray, shape (treatments, trials)
        Share of a flush that the next one keeps; NaN unless the model is straight.
    hazard, chance : ndarray, shape (treatments, flushes, trials)
        Chances to be thrown out in a stage and to give a flush to simulate from: as estimated, but
        as penalised where none or all were seen.
    log_mean : ndarray, shape (treatments, flushes, trials)
        Mean of the logarithm.
    block, batch, bag, residual : ndarray, shape (trials,)
        Variances of the logarithm.
    """

    standing: Array
    comes: Array
    amount: Array
    kept: Array
    hazard: Array
    chance: Array
    log_mean: Array
    block: Array
    batch: Array
    bag: Array
    residual: Array

    @property
    def expected(self) -> Array:
        """Grams of each flush per bag started, shape (treatments, flushes, trials)."""
        return np.asarray(self.standing * self.comes * self.amount)


def fit_parts(watch: FlushWatch, model: PartsModel | None = None) -> FlushParts:
    """Fit the three parts.

    Parameters
    ----------
    watch : FlushWatch
        Every treatment with at least one flush that came.
    model : PartsModel, optional

    Returns
    -------
    FlushParts
        NaN for trials that could not be fitted.

    Notes
    -----
    Firth (1993), Biometrika 80, 27-38, with the intercept set so that the mean chance is the share
    seen (Puhr, Heinze, Nold, Lusa & Geroldinger 2017, Statist. Med. 36, 2302-2317). Stages before
    the first flush and between flushes have hazards of their own. Logarithms are turned back into
    mean grams by the mean of the exponential residuals (Duan 1983, JASA 78, 605-610).
    """
    model = model or PartsModel()
    seen = watch.stacked
    treatments, flushes = int(seen.treatment.max()) + 1, seen.at_risk.shape[1]
    total = flushes + model.ahead
    number = np.arange(total)
    later = np.minimum(number, 1.0)
    came = np.isfinite(seen.log_grams)
    plain_hazard, hazard = _chances(seen.treatment, seen.lost, seen.at_risk, later)
    plain_chance, chance = _chances(seen.treatment, came, seen.looked, number.astype(float))
    log_mean, kept, variances = _amounts(seen, model, treatments)
    return FlushParts(
        standing=np.asarray(np.cumprod(1 - hazard, axis=1), float),
        comes=chance,
        amount=np.exp(log_mean) * _back(seen, log_mean, model),
        kept=kept,
        hazard=plain_hazard,
        chance=plain_chance,
        log_mean=log_mean,
        block=variances["block"],
        batch=variances["batch"],
        bag=variances["bag"],
        residual=variances["residual"],
    )


def _chances(treatment: Codes, happened: Flags, among: Flags, along: Array) -> tuple[Array, Array]:
    """Give chances by treatment and flush, to simulate from and as estimated."""
    treatments, flushes = int(treatment.max()) + 1, among.shape[1]
    member = (treatment[None] == np.arange(treatments)[:, None]).astype(float)
    totals = np.einsum("tb,bkr->rtk", member, among.astype(float))
    events = np.einsum("tb,bkr->rtk", member, (happened & among).astype(float))
    whole = np.arange(treatments).repeat(len(along)), np.tile(np.arange(len(along)), treatments)
    design = (whole[0][:, None] == np.arange(treatments)[None]).astype(float)
    if np.ptp(along[:flushes]) > 0:
        design = np.column_stack([design, along[whole[1]]])
    seen = whole[1] < flushes
    y, m = events.reshape(len(events), -1), totals.reshape(len(totals), -1)
    fit = fit_firth_many(design[seen], y, m)
    eta = fit.coefficients @ design.T
    shift = _shift(eta[:, seen], y.sum(axis=1), m)
    shape = (len(events), treatments, len(along))
    # Where none or all had the event the penalised chances vary from trial to trial, as they must.
    drawn = eta + np.where(np.isfinite(shift), shift, 0.0)[:, None]
    plain, right = (expit(one).reshape(shape) for one in (drawn, eta + shift[:, None]))
    return np.moveaxis(plain, 0, -1), np.moveaxis(right, 0, -1)


def _shift(eta: Array, events: Array, totals: Array) -> Array:
    """Give what to add to the log odds so that as many events are expected as were seen."""
    whole = totals.sum(axis=1)
    low, high = np.full(len(eta), -_WIDEST), np.full(len(eta), _WIDEST)
    none, every = events <= 0, events >= whole
    shift, live = np.zeros(len(eta)), np.flatnonzero(~(none | every) & np.isfinite(eta).all(axis=1))
    for _ in range(_MOST_STEPS):
        if not live.size:
            break
        share = expit(eta[live] + shift[live, None])
        over = (totals[live] * share).sum(axis=1) - events[live]
        slope = (totals[live] * share * (1 - share)).sum(axis=1)
        low[live] = np.where(over > 0, low[live], shift[live])
        high[live] = np.where(over > 0, shift[live], high[live])
        step = shift[live] - over / np.maximum(slope, 1e-300)
        inside = (step > low[live]) & (step < high[live])
        step = np.where(inside, step, (low[live] + high[live]) / 2)
        done = np.abs(step - shift[live]) < _CLOSE
        shift[live] = step
        live = live[~done]
    return np.asarray(np.where(none, -np.inf, np.where(every, np.inf, shift)))


def _amounts(
    watch: FlushWatch, model: PartsModel, treatments: int
) -> tuple[Array, Array, dict[str, Array]]:
    """Fit the logarithms; give means by treatment and flush, shares kept, and variances."""
    bags, flushes, trials = watch.log_grams.shape
    total = flushes + model.ahead
    bag, k = np.indices((bags, flushes)).reshape(2, -1)
    where: Codes = watch.treatment[bag]
    cells = np.arange(treatments).repeat(total), np.tile(np.arange(total), treatments)
    places: tuple[tuple[Codes, Codes], ...] = ((where, k.astype(np.intp)), cells)
    if model.straight:
        design, rows = (_straight(t, n, treatments) for t, n in places)
        slopes = np.eye(2 * treatments)[treatments:]
        rows = np.vstack([rows, slopes])
    else:
        design, rows = (_levels(t, n, treatments, flushes) for t, n in places)
    groups: dict[str, npt.ArrayLike] = {}
    if watch.block is not None:
        groups["block"] = watch.block[bag]
    if watch.batch is not None:
        groups["batch"] = watch.batch[bag]
    groups["bag"] = bag
    grams = watch.log_grams.reshape(bags * flushes, trials)
    fit = fit_batch(grams, design, rows, groups, errors=False)
    many = treatments * total
    # A search that ended nowhere, or beyond anything that a logarithm of grams can be, is no fit.
    sound = fit.converged & (np.abs(fit.estimates) < _LARGEST_LOG).all(axis=0)
    estimates = np.where(sound, fit.estimates, np.nan)
    log_mean = estimates[:many].reshape(treatments, total, trials)
    kept = np.exp(estimates[many:]) if model.straight else np.full((treatments, trials), np.nan)
    none = {"block": np.zeros(trials), "batch": np.zeros(trials)}
    return log_mean, kept, none | dict(zip(fit.components, fit.variances, strict=True))


def _straight(treatment: Codes, flush: Codes, treatments: int) -> Array:
    own = (treatment[:, None] == np.arange(treatments)).astype(float)
    return np.column_stack([own, own * flush[:, None]])


def _levels(treatment: Codes, flush: Codes, treatments: int, flushes: int) -> Array:
    place = treatment * flushes + flush
    return np.asarray(place[:, None] == np.arange(treatments * flushes), float)


def _back(watch: FlushWatch, log_mean: Array, model: PartsModel) -> Array:
    """Give the factor from the exponential of a mean logarithm to mean grams."""
    flushes = watch.log_grams.shape[1]
    spread = np.exp(watch.log_grams - log_mean[watch.treatment, :flushes])
    there = np.isfinite(spread)
    axes = 0 if model.spread_by_flush else (0, 1)
    count = there.sum(axis=axes, keepdims=True)
    total = np.where(there, spread, 0.0).sum(axis=axes, keepdims=True)
    factor = total / np.where(count, count, np.nan)
    if model.spread_by_flush and model.ahead:
        factor = np.concatenate([factor, *([factor[:, -1:]] * model.ahead)], axis=1)
    return np.asarray(factor)
