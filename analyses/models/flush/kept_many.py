"""The share of a flush that the next one keeps, in many trials of one layout at once.

Log weight = treatment + slope x (flush - 1) + block + unit in each trial, by REML with Kenward and
Roger's (1997) inference, and with a residual variance for each flush where equal ones are hard to
believe. Trials may lack different flushes. What is out of the ordinary is not sure, and is left to
the fit of one trial.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import chdtrc

from analyses.models.flush.kept_lines import (
    KeptLines,
    batch_slopes,
    lines_of_batches,
    lines_of_units,
)
from analyses.models.linear.arrays import Array, Codes, Flags
from analyses.models.linear.criterion import evaluate
from analyses.models.linear.general import General, within_levels
from analyses.models.linear.kenward_roger import kenward_roger
from analyses.models.linear.satterthwaite import single_df
from analyses.models.linear.search_many import lowest_of_many

__all__ = ["KeptMany", "kept_many", "kept_many_batches"]

_FEWEST = 2  # rows of each flush without which its variance is not looked at


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptMany:
    """Shares kept and their differences from the first treatment's, in hundredths.

    Parameters
    ----------
    control : array, shape (trials,)
        Share of the first treatment.
    value, df : array, shape (treatments - 1, trials)
        Differences and their degrees of freedom.
    covariance : array, shape (treatments - 1, treatments - 1, trials)
        Of the differences (delta method).
    sure : array of bool, shape (trials,)
        False where the trial must be fitted by itself; its numbers then mean nothing.
    """

    control: Array
    value: Array
    df: Array
    covariance: Array
    sure: Flags


def kept_many(logs: Array, treatment: Codes, block: Codes | None, *, called_for: float) -> KeptMany:
    """Compare the share kept of each treatment with the first one's.

    Parameters
    ----------
    logs : array, shape (trials, units, flushes)
        Logarithm of the weight; NaN where the flush did not come or is not known. Every treatment
        has two flushes or more in every trial.
    treatment : array of int, shape (units,)
        From 0.
    block : array of int or None, shape (units,)
        From 0.
    called_for : float
        Each flush gets a residual variance where equal ones are as unlikely as this, and none
        would be zero.
    """
    came = np.isfinite(logs)
    lines = lines_of_units(np.where(came, logs, 0.0), came, treatment)
    own = _stack(lines, came, block)
    even = _together(own)
    sure = lines.sure & _usual(came, block)
    at = np.flatnonzero(sure)
    one = _Fit(even, at)
    each = _Fit(own, at[(own.group_rows[at] >= _FEWEST).all(1)])
    sure[at[~one.low.found]] = sure[each.at[~each.low.found]] = False
    gain = np.zeros(len(logs))
    gain[each.at] = one.criterion(each.at) - each.low.criterion
    unlikely = chdtrc(came.shape[2] - 1, np.maximum(gain, 0.0)) < called_for
    # A flush without any spread is not believed.
    unlikely[each.at[each.low.at_zero[:, -own.residuals :].any(1)]] = False
    told = _Told(lines, len(logs), int(treatment.max()))
    usable = told.fill(each, np.flatnonzero(sure & unlikely))
    told.fill(one, np.setdiff1d(np.flatnonzero(sure), usable))
    return told.shares(sure)


def kept_many_batches(logs: Array, batch: Codes, treatment: Codes, block: Codes | None) -> KeptMany:
    """Compare the shares kept where each batch gives one slope, the mean within its units.

    Parameters
    ----------
    logs : array, shape (trials, units, flushes)
        As `kept_many` takes them.
    batch : array of int, shape (units,)
        From 0.
    treatment : array of int, shape (batches,)
        From 0.
    block : array of int or None, shape (batches,)
        From 0.
    """
    slopes = batch_slopes(logs, batch)
    there = np.isfinite(slopes)
    lines = lines_of_batches(slopes, treatment)
    sure = lines.sure.copy()
    if block is not None:
        levels = np.stack([there[:, block == one].any(1) for one in np.unique(block)]).sum(0)
        sure &= (levels > 1) & (levels < there.sum(1))
    one = _Fit(_stack_of_batches(lines, there, block), np.flatnonzero(sure))
    sure[one.at[~one.low.found]] = False
    told = _Told(lines, len(logs), int(treatment.max()))
    told.fill(one, np.flatnonzero(sure))
    return told.shares(sure)


def _stack(lines: KeptLines, came: Flags, block: Codes | None) -> General:
    """Lay the trials out with a residual variance for each flush, units taken out first."""
    there = came[..., None].astype(float)
    shelves = [] if block is None else [there * np.eye(int(block.max()) + 1)[block][:, None]]
    wide = np.concatenate([*shelves, lines.q, lines.left[..., None]], axis=-1)
    sums = np.ascontiguousarray(wide.swapaxes(1, 2))  # one row a unit and flush
    total = sums.swapaxes(-1, -2) @ sums
    names = ("unit",) if block is None else ("unit", "block")
    residuals = tuple(f"residual[{one + 1}]" for one in range(came.shape[2]))
    return General(
        names=names + residuals,
        rows=came.sum((1, 2)).astype(float),
        residuals=len(residuals),
        edges=(0,) if block is None else (0, int(block.max()) + 1),
        group_rows=came.sum(1).astype(float),
        total=total,
        within=np.zeros(total.shape),
        counts=came.swapaxes(1, 2).astype(float),
        sums=sums,
    )


def _stack_of_batches(lines: KeptLines, there: Flags, block: Codes | None) -> General:
    """Lay out one row a batch, blocks taken out first."""
    rows = np.concatenate([lines.q, lines.left[..., None]], axis=-1)
    count = 0 if block is None else int(block.max()) + 1
    of = np.zeros((len(there.T), 0)) if block is None else np.eye(count)[block]
    parts = {
        "group_rows": there.sum(1)[:, None].astype(float),
        "total": (rows.swapaxes(1, 2) @ rows)[:, None],
        "counts": (there @ of)[:, None],
        "sums": (of.T @ rows)[:, None],
    }
    return General(
        names=("residual",) if block is None else ("block", "residual"),
        rows=there.sum(1).astype(float), residuals=1, edges=(0,),
        within=within_levels(**parts), **parts,
    )  # fmt: skip


def _together(own: General) -> General:
    """Give the same trials with one residual variance for all flushes."""
    parts = {
        name: getattr(own, name).sum(1, keepdims=True)
        for name in ("group_rows", "total", "counts", "sums")
    }
    names = (*own.names[: -own.residuals], "residual")
    return replace(own, names=names, residuals=1, within=within_levels(**parts), **parts)


def _usual(came: Flags, block: Codes | None) -> Flags:
    """Say where every flush came somewhere, and units and blocks can both be told apart."""
    rows, by_unit = came.sum((1, 2)), np.any(came, axis=2)
    tellable = [by_unit.sum(1)]
    if block is not None:
        tellable.append(sum(np.any(by_unit[:, block == one], axis=1) for one in np.unique(block)))
    usual = np.all(np.any(came, axis=1), axis=1)
    for count in tellable:
        usual &= (count > 1) & (count < rows)
    return np.asarray(usual)


class _Fit:
    """Some of the trials, fitted with one or several residual variances."""

    def __init__(self, stack: General, at: Codes) -> None:
        self.stack, self.at = stack, at
        self.low = lowest_of_many(stack.of(at))

    def criterion(self, at: Codes) -> Array:
        return self.low.criterion[np.searchsorted(self.at, at)]

    def theta(self, at: Codes) -> Array:
        return self.low.theta[np.searchsorted(self.at, at)]


class _Told:
    """Differences of shares, to be filled in trial by trial."""

    def __init__(self, lines: KeptLines, trials: int, others: int) -> None:
        self.lines = lines
        self.control = np.full(trials, np.nan)
        self.value, self.df = np.full((2, trials, others), np.nan)
        self.covariance = np.full((trials, others, others), np.nan)

    def shares(self, sure: Flags) -> KeptMany:
        return KeptMany(
            control=self.control, value=self.value.T, df=self.df.T,
            covariance=np.moveaxis(self.covariance, 0, -1), sure=sure,
        )  # fmt: skip

    def fill(self, fit: _Fit, at: Codes) -> Codes:
        """Fill in trials of a fit; give those whose adjusted covariance is a proper one."""
        if not len(at):
            return at
        point, lines = evaluate(fit.stack.of(at), fit.theta(at)), self.lines
        p, scale = point.phi.shape[-1], point.scale[:, None, None, None]
        b = point.moments.b[..., :p, :p] / scale**2
        c = point.moments.c[..., :p, :p] / scale[..., None] ** 3
        adjusted = kenward_roger(point.phi, b, c, point.expected)
        proper = np.linalg.eigvalsh(adjusted.adjusted)[:, 0] > 0
        t = lines.root.shape[1]
        beta = lines.start[at] + lines.scale[at, None] * point.beta
        share = 100 * np.exp(beta[:, p - t :] / lines.root[at])
        slopes = np.zeros((len(at), t, p))
        slopes[:, :, p - t :] = (share / lines.root[at])[..., None] * np.eye(t)
        rows = slopes[:, 1:] - slopes[:, :1]
        size = lines.scale[at, None, None] ** 2
        self.control[at], self.value[at] = share[:, 0], share[:, 1:] - share[:, :1]
        self.covariance[at] = size * (rows @ adjusted.adjusted @ rows.swapaxes(1, 2))
        self.df[at] = single_df(rows, point.phi, adjusted.slopes, adjusted.w)
        return at[proper]
