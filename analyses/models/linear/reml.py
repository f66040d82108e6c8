"""Restricted maximum likelihood with variances that may stop at zero.

Newton steps with the observed information, which the structures give exactly; the average
information (Gilmour, Thompson & Cullis 1995, Biometrics 51, 1440-1450) where that is not
positive definite; a first step by scoring, which lands on the answer at once when the design is
balanced. A step is kept only when the criterion does not rise. The fit ends when the gradient of
the variances above zero is nought to rounding, and it points outwards at those that are zero.
The search starts from equal variances. A handful of rows may let the criterion have a second low
point, with one of several residual variances far below the rest: there the search starts from each
such corner too, all at once by `search_many`, and the lowest point counts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyses.models.linear.arrays import Array, FitError, Flags, plain_list
from analyses.models.linear.criterion import Point, evaluate
from analyses.models.linear.general import General
from analyses.models.linear.moments import Structure
from analyses.models.linear.search_many import corners, search_many
from analyses.models.linear.tolerances import (
    BLURRED,
    DECREMENT,
    FLOOR,
    HALVINGS,
    HANDFUL,
    LOWER,
    ROUNDING,
    SLOPING,
    STEPS,
    VANISHED,
)

__all__ = ["Optimum", "maximise"]

_NO_ERROR = (
    "the random terms and the fixed part fit the rows exactly, or next to exactly: no residual "
    "variation is left to estimate an error from"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Optimum:
    """Where the criterion is lowest, and the proof of it.

    Attributes
    ----------
    point : Point
        The criterion and its derivatives there.
    evaluations : int
        How often the criterion was worked out, the searches of `search_many` left out.
    decrement : float
        Distance that a further Newton step would go, in standard errors of the variances.
    at_zero : array of bool, shape (k,)
        Variances held at zero; the gradient of each is not negative.
    """

    point: Point
    evaluations: int
    decrement: float
    at_zero: Flags


def maximise(structure: Structure) -> Optimum:
    """Find the variances of highest restricted likelihood, none below zero.

    Raises
    ------
    FitError
        If a variance cannot be told from the others, or no residual variation is left.
    """
    k, g = len(structure.names), structure.residuals
    first = evaluate(structure, np.full(k, 1.0 / k))
    _check_separable(first, structure.names)
    if g > 1 and structure.rows <= HANDFUL and isinstance(structure, General):
        return _lowest(structure, first)
    return _downhill_of(structure, first)


def _lowest(structure: General, first: Point) -> Optimum:
    """Find the lowest point downhill of the first and of the corners."""
    starts = np.vstack([first.theta, corners(len(structure.names), structure.residuals)])
    found = search_many(structure.stacked(), starts, np.zeros(len(starts), np.intp))
    start = evaluate(structure, found.theta[0]) if found.found[0] else first
    best = _downhill_of(structure, start)
    lower = found.found & (found.criterion < best.point.criterion - LOWER)
    again = starts[1:][found.unsure[1:]]
    if lower.any():
        again = np.vstack([again, found.theta[lower][np.argmin(found.criterion[lower])]])
    for theta in again:
        try:
            other = _downhill_of(structure, evaluate(structure, theta))
        except (FitError, np.linalg.LinAlgError):
            continue  # downhill without end from here; the point already found is a proper one
        if other.point.criterion < best.point.criterion - LOWER:
            best = other
    return best


def _downhill_of(structure: Structure, point: Point) -> Optimum:
    """Find the low point downhill of these variances."""
    g = structure.residuals
    evaluations, scoring = 1, True
    for _ in range(STEPS):
        free = ~_at_bound(point, g) | (point.gradient < 0)
        step, decrement = _step(point, free, scoring=scoring)
        blurred = not free[-g:].all()
        if decrement <= (BLURRED if blurred else DECREMENT):
            return _optimum(point, g, evaluations, decrement)
        moved, tried = _descend(structure, point, step, g)
        evaluations += tried
        if moved is None:
            if decrement <= (100 * BLURRED if blurred else ROUNDING):
                return _optimum(point, g, evaluations, decrement)
            if not scoring:
                break
            scoring = True
            continue
        _check_residual(moved, structure)
        scoring = False
        point = moved
    if point.theta[-g:].min() < FLOOR * point.theta.max():
        raise FitError(_NO_ERROR)
    message = "the variances could not be found: the criterion has no clear lowest point"
    raise FitError(message)


def _at_bound(point: Point, residuals: int) -> Flags:
    """Say which variances are zero; one of several residual ones may be, in effect.

    With one residual variance a group, that of a group may vanish while units still differ: the
    covariance stays regular. It is then held at a small number, as its inverse is a weight.
    """
    bound = point.theta == 0
    if residuals > 1:
        bound[-residuals:] = point.theta[-residuals:] <= 1.5 * FLOOR
    return np.asarray(bound)


def _optimum(point: Point, residuals: int, evaluations: int, decrement: float) -> Optimum:
    at_zero = _at_bound(point, residuals)
    # a criterion that falls for ever keeps its slope along the logarithm of the variance
    if (at_zero & (point.theta * point.gradient > SLOPING)).any():
        raise FitError(_NO_ERROR)
    return Optimum(
        point=point,
        evaluations=evaluations,
        decrement=float(np.sqrt(max(decrement, 0.0))),
        at_zero=at_zero,
    )


def _step(point: Point, free: Flags, *, scoring: bool) -> tuple[Array, float]:
    """Give a downhill step of the free variances and the squared distance it goes."""
    step = np.zeros(len(point.theta))
    tries = [point.expected] if scoring else [point.observed, point.average, point.expected]
    at = np.flatnonzero(free)
    lost = 0.0
    while len(at):
        for information in tries:
            found = _solve(information[np.ix_(at, at)], -point.gradient[at])
            # rounding can turn a direction uphill
            if found is not None and point.gradient[at] @ found <= 0:
                step[at] = found
                return step, float(lost - point.gradient[at] @ found)
        # the weight of the smallest variance blurs its information: send it towards its bound
        smallest = at[np.argmin(point.theta[at])]
        step[smallest] = -np.sign(point.gradient[smallest]) * point.theta[smallest]
        lost += abs(point.gradient[smallest]) * point.theta[smallest]
        at = at[at != smallest]
    return step, lost


def _solve(matrix: Array, right: Array) -> Array | None:
    """Solve with a positive definite matrix; None if it is not."""
    try:
        np.linalg.cholesky(matrix)
    except np.linalg.LinAlgError:
        return None
    return np.asarray(np.linalg.solve(matrix, right))


def _descend(
    structure: Structure, point: Point, step: Array, residuals: int
) -> tuple[Point | None, int]:
    """Halve the step until the criterion does not rise; residual variances stay above zero."""
    floor = np.zeros(len(step))
    floor[-residuals:] = point.theta[-residuals:] / 20
    if residuals > 1:
        floor[-residuals:] = np.maximum(floor[-residuals:], FLOOR)
    slack = 1e-13 * (abs(point.criterion) + structure.rows)
    for tried in range(1, HALVINGS):
        theta = np.maximum(point.theta + step, floor)
        try:
            moved = evaluate(structure, theta)
        except np.linalg.LinAlgError:
            step = step / 4
            continue
        if moved.criterion <= point.criterion + slack:
            return moved, tried
        step = step / 2
    return None, HALVINGS


def _check_separable(point: Point, names: tuple[str, ...]) -> None:
    """Refuse variances that the data cannot tell apart, naming them."""
    size = np.sqrt(np.maximum(np.diag(point.expected), 0))
    for name, one in zip(names, size * point.theta, strict=True):
        if not one > 1e-7:
            message = (
                f"the fixed part takes up all there is between levels of '{name}', so its "
                "variance cannot be estimated: leave it out of the random terms"
            )
            raise FitError(message)
    values, vectors = np.linalg.eigh(point.expected / np.outer(size, size))
    if values[0] < 1e-10:
        alike = [name for name, x in zip(names, vectors[:, 0], strict=True) if abs(x) > 1e-3]
        message = f"the variances of {plain_list(alike)} cannot be told apart in these data"
        raise FitError(message)


def _check_residual(point: Point, structure: Structure) -> None:
    if structure.residuals == 1 and point.theta[-1] < VANISHED * max(point.theta.max(), 1.0):
        raise FitError(_NO_ERROR)
