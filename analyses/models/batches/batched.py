"""Fit thousands of trials of one design at once, each with its own losses.

REML (Patterson & Thompson 1971) for nested random intercepts, and Kenward & Roger's (1997)
covariance and degrees of freedom for given contrasts. All trials share the design; the mathematics
runs over stacked arrays whose last axis is the trial.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import stdtr, stdtrit

from analyses.models.batches.batched_kenward_roger import infer_contrasts
from analyses.models.batches.batched_reml import search_ratios
from analyses.models.batches.nested_design import NestedDesign, arrange
from analyses.models.batches.nested_moments import (
    expected_squares,
    observed_squares,
    starting_ratios,
)
from analyses.models.batches.nested_sums import fixed_products, sum_trials
from analyses.models.numerics.jets import Array
from analyses.models.numerics.sweeping import Swept, sweep

__all__ = ["BatchFit", "fit_batch"]

Flags = npt.NDArray[np.bool_]
_CHUNK_BYTES = 48_000_000  # working memory of one chunk of trials
_FOLLOWS = 1e-10  # share of a column's square below which it follows from others


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchFit:
    """Contrasts and variances of many trials; NaN where a trial cannot answer.

    Parameters
    ----------
    estimates, standard_errors, df, t, p, low, high
        Contrasts with Kenward and Roger's standard errors and degrees of freedom, two-sided p
        and unadjusted interval, in the response's unit where they have one, each of shape
        (contrasts, trials).
    variances
        Variance components in squared units of the response, shape (components, trials); 0 for
        one that the rows left cannot tell from another, which then holds both.
    components
        Names of the components, outermost first, the last "residual".
    converged
        Whether the variances of the trial were found, shape (trials,).
    at_zero
        Which components were estimated at zero, shape (components, trials).
    confidence
        Of the intervals.
    notes
        What happened to how many trials, in words.
    """

    estimates: Array
    standard_errors: Array
    df: Array
    t: Array
    p: Array
    low: Array
    high: Array
    variances: Array
    components: tuple[str, ...]
    converged: Flags
    at_zero: Flags
    confidence: float
    notes: tuple[str, ...]


def fit_batch(
    responses: npt.ArrayLike,
    design: npt.ArrayLike,
    contrasts: npt.ArrayLike,
    groups: Mapping[str, npt.ArrayLike] | None = None,
    *,
    present: npt.ArrayLike | None = None,
    confidence: float = 0.95,
    errors: bool = True,
) -> BatchFit:
    """Fit the same nested mixed model to each column of responses.

    Parameters
    ----------
    responses
        One column a trial, NaN where a row is missing, shape (rows, trials).
    design
        Fixed part, the same for all trials, shape (rows, coefficients). It may hold more columns
        than it has rank.
    contrasts
        Weights of the coefficients, shape (contrasts, coefficients).
    groups
        Labels of the random terms by name, outermost first, each of shape (rows,); each lies
        within the terms before it. None for least squares.
    present
        False where a row is missing whatever its response, shape (rows, trials).
    confidence
        Of the intervals, between 0 and 1.
    errors
        Whether to work out standard errors and what follows from them; without them they are NaN,
        and the fit takes two thirds of the time.

    Raises
    ------
    ValueError
        If shapes do not fit, a design value is not finite or `confidence` is out of range.

    References
    ----------
    Patterson & Thompson (1971) Biometrika 58, 545-554; Gilmour, Thompson & Cullis (1995)
    Biometrics 51, 1440-1450; Kenward & Roger (1997) Biometrics 53, 983-997.

    Examples
    --------
    >>> import numpy as np
    >>> grams = np.array([[410.0, 402.0], [455.0, 470.0], [380.0, 391.0], [441.0, np.nan]])
    >>> recipe = np.array([[1.0, 0.0], [1.0, 1.0], [1.0, 0.0], [1.0, 1.0]])
    >>> fit = fit_batch(grams, recipe, [[0.0, 1.0]], {"shelf": ["a", "a", "b", "b"]})
    >>> fit.estimates.round(1).tolist()
    [[53.0, 73.5]]
    """
    y, x, rows, terms = _checked(responses, design, contrasts, groups or {}, confidence)
    there = np.isfinite(y)
    if present is not None:
        there &= np.broadcast_to(np.asarray(present, bool), y.shape)
    arranged = arrange(x, terms)
    plan = _Plan(arranged, rows @ arranged.into_basis, _spanned(arranged, x, rows), errors)
    expected = expected_squares(arranged)
    parts = [
        _fit_chunk(plan, expected, y[:, chunk], there[:, chunk])
        for chunk in _chunks(arranged, y.shape[1])
    ]
    return _finish(parts, tuple(terms), confidence)


@dataclass(frozen=True, slots=True)
class _Plan:
    """What all chunks share."""

    design: NestedDesign
    rows: Array  # contrasts in basis coefficients
    spanned: Flags  # which contrasts the complete design can estimate
    errors: bool  # whether standard errors are asked for


@dataclass(frozen=True, slots=True)
class _Part:
    """Results of one chunk."""

    estimates: Array
    standard_errors: Array
    df: Array
    variances: Array
    converged: Flags
    flat: Flags
    full: Flags
    estimable: Flags
    doubled: Flags  # variances that coincide with another, outermost term first


def _checked(
    responses: npt.ArrayLike,
    design: npt.ArrayLike,
    contrasts: npt.ArrayLike,
    groups: Mapping[str, npt.ArrayLike],
    confidence: float,
) -> tuple[Array, Array, Array, dict[str, npt.NDArray[np.generic]]]:
    """Give clean arrays or say what does not fit."""
    y = np.asarray(responses, float)
    x = np.asarray(design, float)
    rows = np.atleast_2d(np.asarray(contrasts, float))
    terms = {name: np.asarray(labels) for name, labels in groups.items()}
    if y.ndim != 2 or x.ndim != 2 or len(y) != len(x):
        msg = f"responses {y.shape} and design {x.shape} need two axes and as many rows"
        raise ValueError(msg)
    if not y.size:
        msg = f"responses {y.shape} hold no row or no trial"
        raise ValueError(msg)
    if rows.shape[1] != x.shape[1]:
        msg = f"contrasts have {rows.shape[1]} weights for {x.shape[1]} coefficients"
        raise ValueError(msg)
    for name, labels in terms.items():
        if labels.shape != (len(y),):
            msg = f"labels of {name!r} have shape {labels.shape}, not ({len(y)},)"
            raise ValueError(msg)
    if not (np.isfinite(x).all() and np.isfinite(rows).all()):
        msg = "the design and the contrasts must be finite numbers"
        raise ValueError(msg)
    if not 0 < confidence < 1:
        msg = f"confidence must lie between 0 and 1, not {confidence}"
        raise ValueError(msg)
    return y, x, rows, terms


def _spanned(design: NestedDesign, x: Array, contrasts: Array) -> Flags:
    """Say which contrasts the design could estimate if no row were missing."""
    back = design.basis.T @ x[design.order]
    gap = np.abs(contrasts - contrasts @ design.into_basis @ back).max(axis=1, initial=0.0)
    size = np.maximum(np.abs(contrasts).max(axis=1, initial=0.0), 1e-300)
    return np.asarray(gap <= 1e-8 * size)


def _chunks(design: NestedDesign, trials: int) -> list[slice]:
    """Split trials so that one chunk's arrays stay within the working memory."""
    columns = design.basis.shape[1] + 1
    groups = len(design.member_starts[0]) if design.member_starts else 0
    sizes = int(design.group_sizes[0].max(initial=1)) if design.compressed else 1
    each = 8 * (columns**2 * (sizes + 6) + 6 * groups * (sizes + 4) * columns)
    each += 8 * 6 * len(design.order)
    step = max(1, min(512, _CHUNK_BYTES // each))
    return [slice(start, start + step) for start in range(0, trials, step)]


def _least_squares(fixed: Array, design: NestedDesign, y: Array) -> Swept:
    """Fit the fixed part alone; its skipped pivots are those of every weighting of the rows."""
    rank = design.basis.shape[1]
    system = np.zeros((rank + 1, rank + 1, y.shape[1]))
    system[:rank, :rank] = fixed
    system[:rank, rank] = system[rank, :rank] = design.basis.T @ y
    return sweep(system, rank, _FOLLOWS)


def _estimable(plan: _Plan, solved: Swept) -> Flags:
    """Say which contrasts each trial can still estimate, shape (contrasts, trials)."""
    estimable = np.repeat(plan.spanned[:, None], solved.kept.shape[1], axis=1)
    odd = np.flatnonzero(~solved.kept.all(axis=0))
    if len(odd):
        kept, rows = solved.kept[:, odd], plan.rows
        follows = np.einsum("mk,kjt->mjt", rows, solved.coefficients[:, :, odd] * kept[:, None])
        gap = np.abs(rows[:, :, None] - follows) * ~kept
        size = np.abs(rows).max(axis=1, initial=0.0)[:, None]
        estimable[:, odd] &= gap.max(axis=1, initial=0.0) <= 1e-8 * size
    return estimable


def _fit_chunk(plan: _Plan, expected: Array, responses: Array, there: Flags) -> _Part:
    """Fit one chunk of trials: least squares first, for rank and scale, then REML."""
    design = plan.design
    present = there[design.order].astype(float)
    y = np.where(there, responses, 0.0)[design.order]
    fixed = fixed_products(design, present)
    solved = _least_squares(fixed, design, y)
    first = solved.solution[:, 0]
    residual = y - present * (design.basis @ first)
    counts = present.sum(axis=0)
    left = counts - solved.kept.sum(axis=0)
    squares = np.einsum("rt,rt->t", residual, residual)
    rounding = 64 * np.finfo(float).eps * np.abs(y).max(axis=0, initial=0.0)
    full, flat = left < 1, squares <= counts * rounding**2
    usable = ~full & ~flat
    scale = np.sqrt(np.where(usable, squares, 1.0) / np.where(full, 1.0, left))
    part = _empty(plan, solved, first, full, flat)
    if usable.any():
        on = np.flatnonzero(usable)
        kept = solved.kept[:, on].astype(float)
        _fit_usable(
            plan,
            expected,
            (residual / scale)[:, on],
            present[:, on],
            kept,
            fixed[:, :, on],
            scale[on],
            on,
            part,
        )
    return part


def _empty(plan: _Plan, solved: Swept, first: Array, full: Flags, flat: Flags) -> _Part:
    """Start from the least-squares estimates, everything else unknown."""
    estimable = _estimable(plan, solved)
    shape = estimable.shape
    unknown = np.full(shape, np.nan)
    flat = flat & ~full
    variances = np.where(flat, 0.0, np.full((plan.design.terms + 1, shape[1]), np.nan))
    return _Part(
        estimates=np.where(estimable, plan.rows @ first, np.nan),
        standard_errors=unknown,
        df=unknown.copy(),
        variances=variances,
        converged=flat.copy(),
        flat=flat,
        full=full,
        estimable=estimable,
        doubled=np.zeros((plan.design.terms, shape[1]), bool),
    )


def _fit_usable(
    plan: _Plan,
    expected: Array,
    residual: Array,
    present: Array,
    kept: Array,
    fixed: Array,
    scale: Array,
    on: npt.NDArray[np.intp],
    part: _Part,
) -> None:
    """Fit the trials that have something to fit and write them into their places."""
    design = plan.design
    sums = sum_trials(design, residual, present, fixed)
    if not kept.all():
        wide = np.concatenate([kept, np.ones((1, kept.shape[1]))])
        both = wide[:, None] * wide[None]
        for array, mask in ((sums.cross, both), (sums.size_cross, both), (sums.group_sums, wide)):
            array *= mask
    squares, doubled = observed_squares(design, residual, present)
    part.doubled[:, on] = doubled[::-1]
    found = search_ratios(design, sums, starting_ratios(squares, expected), doubled)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):  # of trials given up
        answer = infer_contrasts(design, sums, found.ratios, plan.rows, errors=plan.errors)
    good = found.converged & part.estimable[:, on]
    part.converged[on] = found.converged
    part.estimates[:, on] = np.where(good, part.estimates[:, on] + scale * answer.estimates, np.nan)
    with np.errstate(invalid="ignore"):
        errors = np.sqrt(answer.variances) * scale
    part.standard_errors[:, on] = np.where(good, errors, np.nan)
    part.df[:, on] = np.where(good, answer.df, np.nan)
    variances = np.concatenate([found.ratios[::-1], np.ones((1, len(on)))]) * answer.residual
    part.variances[:, on] = np.where(found.converged, variances * scale**2, np.nan)


def _finish(parts: list[_Part], terms: tuple[str, ...], confidence: float) -> BatchFit:
    """Join the chunks, test, and count what could not be answered."""
    estimates = np.concatenate([part.estimates for part in parts], axis=1)
    errors = np.concatenate([part.standard_errors for part in parts], axis=1)
    df = np.concatenate([part.df for part in parts], axis=1)
    variances = np.concatenate([part.variances for part in parts], axis=1)
    estimable = np.concatenate([part.estimable for part in parts], axis=1)
    converged = np.concatenate([part.converged for part in parts])
    flat = np.concatenate([part.flat for part in parts])
    full = np.concatenate([part.full for part in parts])
    with np.errstate(divide="ignore", invalid="ignore"):
        t = estimates / errors
        half = stdtrit(df, 0.5 + confidence / 2) * errors
    components = (*terms, "residual")
    doubled = np.concatenate([part.doubled for part in parts], axis=1)
    at_zero = variances == 0
    at_zero[:-1] &= ~doubled
    notes = _notes(converged, flat, full, estimable)
    notes += _term_notes(components[:-1], at_zero & ~flat, doubled)
    return BatchFit(
        estimates=estimates,
        standard_errors=errors,
        df=df,
        t=t,
        p=2 * stdtr(df, -np.abs(t)),
        low=estimates - half,
        high=estimates + half,
        variances=variances,
        components=components,
        converged=converged,
        at_zero=at_zero,
        confidence=confidence,
        notes=notes,
    )


def _notes(converged: Flags, flat: Flags, full: Flags, estimable: Flags) -> tuple[str, ...]:
    """Say how many trials have no answer, and why."""
    trials = len(converged)
    lost = ~(converged | full)
    said = [
        (full, "no rows left over to estimate the residual variance"),
        (flat, "responses do not vary beyond the fixed part, so nothing can be tested"),
        (lost, "no variances found: no maximum reached, or no residual beside the others"),
    ]
    notes = [f"{flag.sum()} of {trials} trials: {why}" for flag, why in said if flag.any()]
    for number, able in enumerate(estimable):
        if not able.all():
            notes.append(
                f"{(~able).sum()} of {trials} trials: contrast {number} cannot be estimated "
                "from the rows left"
            )
    return tuple(notes)


def _term_notes(names: tuple[str, ...], at_zero: Flags, doubled: Flags) -> tuple[str, ...]:
    """Say how many trials have a variance at zero or one that coincides with another."""
    notes = []
    for name, zero, double in zip(names, at_zero, doubled, strict=False):
        if zero.any():
            notes.append(
                f"{zero.sum()} of {zero.size} trials: the {name} variance is at zero; "
                "Kenward-Roger keeps it"
            )
        if double.any():
            notes.append(
                f"{double.sum()} of {double.size} trials: each {name} left is a single row or "
                "the same as the group around it; its variance is counted there"
            )
    return tuple(notes)
