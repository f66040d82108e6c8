"""Find the REML variances of many trials of one nested design at once.

The residual variance is profiled out; the search runs over the ratios of the other variances to
it (Patterson & Thompson 1971) with the average information as curvature (Gilmour, Thompson &
Cullis 1995), an active set of ratios at zero and a halved step where the criterion rose.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyses.models.batches.nested_design import NestedDesign
from analyses.models.batches.nested_sums import TrialSums
from analyses.models.batches.nested_variance import NestedVariance
from analyses.models.numerics.jets import Array, Jet, product
from analyses.models.numerics.sweeping import Swept, sweep

__all__ = ["RatioSearch", "search_ratios", "traced"]

Flags = npt.NDArray[np.bool_]
_STEPS = 60  # evaluations before a trial is given up
_SMALL = 1e-17  # squared length of the step that would come next, in standard errors
_ROUNDING = 64 * np.finfo(float).eps
_BLURRED = 1e-3  # rounding error of the criterion above which the residual is lost in it


@dataclass(frozen=True, slots=True)
class RatioSearch:
    """Where the search ended.

    Parameters
    ----------
    ratios
        Variances over the residual variance, innermost first, shape (terms, trials).
    converged
        Whether the gradient vanished for free ratios and pointed outwards for those at zero, at
        ratios that leave the residual above rounding error, shape (trials,).
    evaluations
        Criterion evaluations of each trial, shape (trials,).
    """

    ratios: Array
    converged: Flags
    evaluations: npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class _Point:
    """The criterion, -2 log restricted likelihood but for a constant, with its derivatives."""

    value: Array
    slope: Array
    curvature: Array
    noise: Array  # rounding error of the value, large where blocks dwarf the residual


def traced(risen: Jet, inverse: Array) -> Jet:
    """Give the jet of t' C t for C symmetric, with as many derivatives as `risen` has."""

    def against(t: Array) -> Array:
        return np.asarray(np.einsum("qrt,grt->gqt", inverse, t))

    def along(t: Array, other: Array) -> Array:
        return np.asarray(np.einsum("gqt,gqt->gt", t, other))

    weighted = against(risen.value)
    turned = {i: against(d) for i, d in risen.first.items()} if risen.second else {}
    first = {i: 2 * along(weighted, d) for i, d in risen.first.items()}
    second = {
        (i, j): 2 * (along(weighted, dd) + along(turned[i], risen.first[j]))
        for (i, j), dd in risen.second.items()
    }
    return Jet(along(weighted, risen.value), first, second)


def _evaluate(design: NestedDesign, sums: TrialSums, ratios: Array) -> _Point:
    """Evaluate the criterion, its gradient and its average information."""
    variance = NestedVariance(design, sums, ratios)
    risen = variance.rise(sums.group_sums, order=1)
    rank = len(sums.cross) - 1
    solved = sweep(variance.cross(risen), rank)
    left = sums.rows - solved.kept.sum(axis=0)
    rest = solved.rest[0, 0]
    value = variance.log_determinant.value + solved.log_determinant + left * np.log(rest)
    lost, fitted = _residual_form(variance, sums, risen, solved)
    trace = variance.form(
        [traced(t.through(lambda a: a[:, :rank]), solved.inverse) for t in risen],
        np.einsum("qrt,kqrt->kt", solved.inverse, sums.size_cross[:, :rank, :rank]),
    )
    terms = len(ratios)
    slope = np.empty_like(ratios)
    curvature = np.empty((terms, terms, ratios.shape[1]))
    for i in range(terms):
        share = lost.first[i] * left / rest
        slope[i] = variance.log_determinant.first[i] + trace.first[i] + share
        for j in range(i, terms):
            bend = 0.5 * lost.second[i, j] - fitted[i][j]
            both = bend - lost.first[i] * lost.first[j] / rest
            if i == j:  # what is only rounding error tells nothing about this ratio
                told = (both > 1e-10 * bend) & (bend * (1 + ratios[i] ** 2) > 1e-12 * rest)
                both = np.where(told, both, 0.0)
            curvature[i, j] = curvature[j, i] = both * left / rest
    noise = _ROUNDING * left * (1.0 + sums.cross[rank, rank] / rest)
    return _Point(value, slope, curvature, noise)


def _residual_form(
    variance: NestedVariance, sums: TrialSums, risen: list[Jet], solved: Swept
) -> tuple[Jet, list[list[Array]]]:
    """Give the residual's quadratic form and what of its bend the fixed part takes up."""
    rank = len(sums.cross) - 1
    direction = np.concatenate([-solved.solution, np.ones((1, 1, len(sums.rows)))])
    sized = np.einsum("kqrt,rmt->kqmt", sums.size_cross, direction)
    along = variance.rise(np.einsum("gkqt,qmt->gkmt", sums.group_sums, direction))
    form = variance.form(
        [product(a, a) for a in along], np.einsum("qmt,kqmt->kmt", direction, sized)
    ).through(lambda a: a[0])
    slopes = variance.vector_slopes(risen, along, sized)
    columns = [one[:rank, 0] for one in slopes]
    weighted = [np.einsum("qrt,rt->qt", solved.inverse, one) for one in columns]
    fitted = [[np.einsum("qt,qt->t", w, other) for other in columns] for w in weighted]
    return form, fitted


def _step(point: _Point, ratios: Array, left_out: Flags) -> tuple[Array, Array]:
    """Give the change of the ratios and the squared length of the step in standard errors.

    A ratio at zero whose slope points outwards stays; one that the step would take below zero
    goes to zero and the others are solved for again.
    """
    held = left_out | ((ratios <= 0) & (point.slope >= 0))
    change = np.zeros_like(ratios)
    for _ in range(len(ratios) + 1):
        free = ~held
        pull = point.slope + np.einsum("ijt,jt->it", point.curvature, np.where(held, change, 0.0))
        both = (free[:, None] & free[None]) * point.curvature
        system = np.concatenate([both, (-pull * free)[:, None]], axis=1)
        system = np.concatenate([system, np.zeros_like(system[:1])], axis=0)
        solved = sweep(system, len(ratios), 1e-10)
        change = np.where(free, solved.solution[:, 0], change)
        # A ratio that the data cannot tell from the others is kept out of the model.
        confounded = free & ~solved.kept
        below = free & (ratios + change < 0)
        change = np.where(below | confounded, -ratios, change)
        if not (below | confounded).any():
            break
        held = held | below | confounded
    length = -np.einsum("it,it->t", change, point.slope)
    return change, np.abs(length)


def _only_noise(point: _Point, length: Array, last: Array) -> Flags:
    """Say where steps stay as long because they are rounding error."""
    noise = point.noise**2
    return np.asarray((length < noise) & (last < noise) & (length > 0.1 * last))


def _stretch(shrunk: Array) -> Array:
    """Give how many steps to take at once where steps shrink slowly (Aitken 1926).

    Steps in a constant ratio r add up to 1 / (1 - r) of the first.
    """
    rate = np.sqrt(shrunk)
    slow = (rate > 0.4) & (rate < 1)
    return np.where(slow, 1.0 / (1.0 - np.where(slow, np.minimum(rate, 0.9), 0.0)), 1.0)


def search_ratios(
    design: NestedDesign, sums: TrialSums, start: Array, left_out: Flags
) -> RatioSearch:
    """Minimise the REML criterion of each trial over its variance ratios.

    Parameters
    ----------
    design
        The design.
    sums
        Sums of the trials, the response scaled so that its residual variance is about 1.
    start
        First ratios, shape (terms, trials).
    left_out
        Terms to keep out of the model, shape (terms, trials).
    """
    start = np.where(left_out, 0.0, start)
    if not start.size:
        trials = start.shape[1]
        return RatioSearch(start, np.ones(trials, bool), np.zeros(trials, np.intp))
    found = _search(design, sums, start, left_out)
    lost = np.flatnonzero(~found.converged)
    if len(lost):  # where the criterion is all but level on the way, come from the other side
        again = _search(design, sums.of(lost), np.zeros((len(start), len(lost))), left_out[:, lost])
        found.ratios[:, lost] = again.ratios
        found.converged[lost] = again.converged
        found.evaluations[lost] += again.evaluations
    return found


@np.errstate(divide="ignore", invalid="ignore", over="ignore")
def _search(design: NestedDesign, sums: TrialSums, start: Array, left_out: Flags) -> RatioSearch:
    """Search from these ratios; a trial whose residual is lost in rounding never finishes."""
    trials = start.shape[1]
    ratios, converged = start.copy(), np.zeros(trials, bool)
    evaluations = np.zeros(trials, np.intp)
    running = np.arange(trials)
    here, before, best = start.copy(), start.copy(), np.full(trials, np.inf)
    last = np.full(trials, np.nan)  # length of the step before, where the next may follow it
    for _ in range(_STEPS):
        point = _evaluate(design, sums, here)
        evaluations[running] += 1
        rose = ~(point.value <= best + point.noise)
        change, length = _step(point, here, left_out)
        shrunk = np.fmin(length / last, 1.0)
        clear = ~rose & (point.noise < _BLURRED)
        finished = clear & ((length * shrunk < _SMALL) | _only_noise(point, length, last))
        stretch = np.where(finished, 1.0, _stretch(shrunk))
        forward = np.maximum(here + stretch * change, 0.0)
        before, here = np.where(rose, before, here), np.where(rose, 0.5 * (here + before), forward)
        best = np.where(rose, best, point.value)
        last = np.where(rose | (stretch > 1), np.nan, np.maximum(length, 1e-300))
        ratios[:, running] = here
        converged[running[finished]] = True
        if finished.all():
            break
        if finished.mean() > 0.1:
            on = np.flatnonzero(~finished)
            running, sums, left_out = running[on], sums.of(on), left_out[:, on]
            here, before, best, last = here[:, on], before[:, on], best[on], last[on]
    return RatioSearch(ratios, converged, evaluations)
