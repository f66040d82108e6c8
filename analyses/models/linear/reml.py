"""Restricted maximum likelihood with variances that may stop at zero.

Newton steps with the observed information, which the structures give exactly; the average
information (Gilmour, Thompson & Cullis 1995, Biometrics 51, 1440-1450) where that is not
positive definite; a first step by scoring, which lands on the answer at once when the design is
balanced. A step is kept only when the criterion does not rise. The fit ends when the gradient of
the variances above zero is nought to rounding, and it points outwards at those that are zero.
The search starts from equal variances. A handful of rows may let the criterion have a second low
point, with one of several residual variances far below the rest: there the search starts from each
such corner too, and the lowest point counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from analyses.models.linear.arrays import Array, FitError, Flags, plain_list
from analyses.models.linear.moments import Moments, Structure

__all__ = ["Optimum", "Point", "evaluate", "maximise"]

_DECREMENT = 1e-17  # squared distance to the optimum, in standard errors, that is nought
_ROUNDING = 1e-12  # the same where rounding lets the criterion fall no further
_BLURRED = 1e-9  # the same where a residual variance is held at its floor, and its weight is huge
_STEPS = 100
_HALVINGS = 40
_FLOOR = 1e-7  # one of several residual variances this small, next to the data's, stands for zero
_HANDFUL = 120  # rows up to which several residual variances are sought from several starts
_LOWER = 1e-6  # how much lower a second low point must be to be another one
_CORNER = 0.02  # how far below the rest one residual variance starts then
_VANISHED = 1e-12  # a residual variance this far below the largest is lost in rounding
_NO_ERROR = (
    "the random terms and the fixed part fit the rows exactly, or next to exactly: no residual "
    "variation is left to estimate an error from"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """The criterion and its derivatives at one set of variances, or at each of many.

    Leading axes are those of the variances, which are always scaled so that the generalised
    residual sum of squares equals its degrees of freedom: the best common scale.

    Attributes
    ----------
    theta : array, shape (k,)
        Variances.
    criterion : float or array
        -2 log restricted likelihood, without its constant.
    beta : array, shape (p,)
        Fixed effects of the orthonormal columns.
    phi : array, shape (p, p)
        Their covariance.
    gradient : array, shape (k,)
        Of half the criterion.
    average, expected : array, shape (k, k)
        Average and expected information; the observed one is 2 average - expected.
    moments : Moments
        Before the scaling, at theta / scale.
    scale : float or array
        The common factor.
    """

    theta: Array
    criterion: Array
    beta: Array
    phi: Array
    gradient: Array
    average: Array
    expected: Array
    moments: Moments
    scale: Array

    @property
    def observed(self) -> Array:
        """Observed information."""
        return 2 * self.average - self.expected


@dataclass(frozen=True, slots=True, kw_only=True)
class Optimum:
    """Where the criterion is lowest, and the proof of it.

    Attributes
    ----------
    point : Point
        The criterion and its derivatives there.
    evaluations : int
        How often the criterion was worked out.
    decrement : float
        Distance that a further Newton step would go, in standard errors of the variances.
    at_zero : array of bool, shape (k,)
        Variances held at zero; the gradient of each is not negative.
    """

    point: Point
    evaluations: int
    decrement: float
    at_zero: Flags


def evaluate(structure: Structure, theta: Array) -> Point:
    """Work out criterion and derivatives (Patterson & Thompson 1971, Biometrika 58, 545-554).

    Parameters
    ----------
    structure : Structure
    theta : array, shape (..., k)
        Leading axes where the structure allows them.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the covariance is singular to rounding, at any of them.
    """
    moments = structure.moments(theta)
    a, k = moments.a, theta.shape[-1]
    p, lead = a.shape[-1] - 1, a.shape[:-2]
    lower = np.linalg.cholesky(a[..., :p, :p])
    phi = np.linalg.inv(a[..., :p, :p])
    beta = (phi @ a[..., :p, p:])[..., 0]
    square = a[..., p, p] - (a[..., :p, p] * beta).sum(-1)
    if not (square > 0).all():
        raise np.linalg.LinAlgError
    free = structure.rows - p
    scale = square / free
    left = np.ones((*lead, p + 1))
    left[..., :p] = -beta
    b_left = (moments.b @ left[..., None, :, None])[..., 0]
    quadratic = (b_left @ left[..., None])[..., 0]
    phi_b = phi[..., None, :, :] @ moments.b[..., :p, :p]
    c_left = (moments.c @ left[..., None, None, :, None])[..., 0] @ left[..., None, :, None]
    taken = b_left[..., :p] @ phi @ b_left[..., :p].swapaxes(-1, -2)
    average = 0.5 * (c_left[..., 0] - taken)
    traces = moments.traces - phi_b.trace(0, -2, -1)
    flat = phi_b.reshape(*lead, k, p * p)
    crossed = flat @ phi_b.swapaxes(-1, -2).reshape(flat.shape).swapaxes(-1, -2)
    c_flat = moments.c[..., :p, :p].reshape(*lead, k * k, p * p)
    c_phi = (c_flat @ phi.reshape(*lead, p * p, 1)).reshape(*lead, k, k)
    expected = 0.5 * (moments.t - 2 * c_phi + crossed)
    size = np.log(np.diagonal(lower, axis1=-2, axis2=-1)).sum(-1)
    each, both = scale[..., None], scale[..., None, None]
    return Point(
        theta=theta * each,
        criterion=moments.log_det + 2 * size + free * (np.log(scale) + 1),
        beta=beta,
        phi=phi * both,
        gradient=0.5 * (traces - quadratic / each) / each,
        average=average / both**3,
        expected=expected / both**2,
        moments=moments,
        scale=scale,
    )


def maximise(structure: Structure) -> Optimum:
    """Find the variances of highest restricted likelihood, none below zero.

    Raises
    ------
    FitError
        If a variance cannot be told from the others, or no residual variation is left.
    """
    k, g = len(structure.names), structure.residuals
    best = _maximise_from(structure, np.full(k, 1.0 / k))
    if g == 1 or structure.rows > _HANDFUL:
        return best
    for start in _corners(k, g):
        try:
            found = _maximise_from(structure, start)
        except (FitError, np.linalg.LinAlgError):
            continue  # downhill without end from here; the point already found is a proper one
        if found.point.criterion < best.point.criterion - _LOWER:
            best = found
    return best


def _corners(k: int, residuals: int) -> list[Array]:
    """Give starts with one or two residual variances low, and all random terms or one high."""
    first = k - residuals
    starts = []
    for size in range(1, min(residuals, 3)):
        for low in combinations(range(first, k), size):
            for high in (range(first), *([one] for one in range(first))):
                start = np.full(k, _CORNER)
                start[list(high)] = start[first:] = 1.0
                start[list(low)] = _CORNER
                starts.append(start / k)
    return starts


def _maximise_from(structure: Structure, start: Array) -> Optimum:
    """Find the low point downhill of these variances."""
    g = structure.residuals
    point = evaluate(structure, start)
    _check_separable(point, structure.names)
    evaluations, scoring = 1, True
    for _ in range(_STEPS):
        free = ~_at_bound(point, g) | (point.gradient < 0)
        step, decrement = _step(point, free, scoring=scoring)
        blurred = not free[-g:].all()
        if decrement <= (_BLURRED if blurred else _DECREMENT):
            return _optimum(point, g, evaluations, decrement)
        moved, tried = _descend(structure, point, step, g)
        evaluations += tried
        if moved is None:
            if decrement <= (100 * _BLURRED if blurred else _ROUNDING):
                return _optimum(point, g, evaluations, decrement)
            if not scoring:
                break
            scoring = True
            continue
        _check_residual(moved, structure)
        scoring = False
        point = moved
    if point.theta[-g:].min() < _FLOOR * point.theta.max():
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
        bound[-residuals:] = point.theta[-residuals:] <= 1.5 * _FLOOR
    return np.asarray(bound)


def _optimum(point: Point, residuals: int, evaluations: int, decrement: float) -> Optimum:
    at_zero = _at_bound(point, residuals)
    # a criterion that falls for ever keeps its slope along the logarithm of the variance
    if (at_zero & (point.theta * point.gradient > 1e-3)).any():
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
        floor[-residuals:] = np.maximum(floor[-residuals:], _FLOOR)
    slack = 1e-13 * (abs(point.criterion) + structure.rows)
    for tried in range(1, _HALVINGS):
        theta = np.maximum(point.theta + step, floor)
        try:
            moved = evaluate(structure, theta)
        except np.linalg.LinAlgError:
            step = step / 4
            continue
        if moved.criterion <= point.criterion + slack:
            return moved, tried
        step = step / 2
    return None, _HALVINGS


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
    if structure.residuals == 1 and point.theta[-1] < _VANISHED * max(point.theta.max(), 1.0):
        raise FitError(_NO_ERROR)
