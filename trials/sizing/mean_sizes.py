"""Power and width for a difference of means: better, no worse, just as good, any difference."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import fdtri, gammaln, ncfdtr, nctdtr, ndtr, ndtri, stdtrit

from trials.sizes import Precision

__all__ = [
    "expected_width",
    "legendre",
    "margin_of_error",
    "power_any_difference",
    "power_better",
    "power_no_worse",
    "power_same",
    "t_point",
]

Array: TypeAlias = npt.NDArray[np.float64]

_NODES = 200


def t_point(tail: float, df: float) -> float:
    """Give the point of Student's t that leaves a tail above it; infinite df give the normal.

    Parameters
    ----------
    tail : float
        Between 0 and 1/2.
    df : float
        Degrees of freedom, above 0.
    """
    return float(-ndtri(tail)) if math.isinf(df) else float(-stdtrit(df, tail))


def _above(point: float, df: float, shift: float) -> float:
    """Give the chance that a non-central t exceeds a point."""
    if math.isinf(df):
        return float(ndtr(shift - point))
    # The mirrored form keeps its digits where the chance is small.
    return float(nctdtr(df, -shift, -point))


def power_better(
    difference: float,
    sd: float,
    precision: Precision,
    *,
    confidence: float = 0.95,
    beyond: float = 0.0,
    sides: int = 2,
) -> float:
    """Give the chance of showing that one treatment differs from another.

    Parameters
    ----------
    difference : float
        The true difference, in the unit of the outcome.
    sd : float
        Standard deviation of the units that are compared, in the same unit.
    precision : Precision
        What the design offers.
    confidence : float
        Of the interval that judges; 0.95 is a test of size 0.05.
    beyond : float
        The difference that must be exceeded: 0, or the smallest one worth having.
    sides : {1, 2}
        2: the two-sided interval must exclude `beyond`, on either side; 1: a one-sided bound must.

    Notes
    -----
    Non-central t; both tails with two sides (Cohen 1988, chapter 2, exact).

    Examples
    --------
    >>> from trials.sizes import two_groups
    >>> round(power_better(0.5, 1, two_groups(64)), 4)
    0.8015
    """
    if precision.df <= 0:
        return 0.0
    point = t_point((1 - confidence) / sides, precision.df)
    shift = (difference - beyond) / (sd * math.sqrt(precision.factor))
    upper = _above(point, precision.df, shift)
    return upper if sides == 1 else upper + _above(point, precision.df, -shift)


def power_no_worse(
    difference: float,
    margin: float,
    sd: float,
    precision: Precision,
    *,
    confidence: float = 0.95,
    sides: int = 1,
    stretch: float = 1.0,
) -> float:
    """Give the chance of showing that a treatment is no worse than another by more than a margin.

    Parameters
    ----------
    difference : float
        The true difference in the good direction, in the unit of the outcome; 0 for equal ones.
    margin : float
        How much worse would still do, above 0.
    sd : float
        Standard deviation of the units that are compared.
    precision : Precision
        What the design offers.
    confidence : float
        Of the bound that judges.
    sides : {1, 2}
        1: a one-sided bound of that confidence; 2: the lower end of the two-sided interval.
    stretch : float
        How many times as large the standard error of the test is under the margin as at the truth.

    Notes
    -----
    Non-central t for the shifted hypothesis (Julious 2004, Statist. Med. 23, 1921-1986, section 4).
    """
    if margin <= 0:
        raise ValueError(f"a margin must be above zero, got {margin}")
    if precision.df <= 0:
        return 0.0
    point = stretch * t_point((1 - confidence) / sides, precision.df)
    return _above(point, precision.df, (difference + margin) / (sd * math.sqrt(precision.factor)))


def power_same(
    difference: float,
    margin: float,
    sd: float,
    precision: Precision,
    *,
    size: float = 0.05,
) -> float:
    """Give the chance of showing that two treatments differ by less than a margin.

    Parameters
    ----------
    difference : float
        The true difference, in the unit of the outcome.
    margin : float
        Half the width of the region that counts as the same, above 0.
    sd : float
        Standard deviation of the units that are compared.
    precision : Precision
        What the design offers.
    size : float
        Size of each one-sided test.

    Notes
    -----
    Exact: given the observed standard deviation both tests are one statement about a normal
    difference, integrated over the chi distribution (Owen 1965, Biometrika 52, 437-446; Phillips
    1990, J. Pharmacokin. Biopharm. 18, 137-144).
    """
    if margin <= 0:
        raise ValueError(f"a margin must be above zero, got {margin}")
    df = precision.df
    if df <= 0:
        return 0.0
    error, point = sd * math.sqrt(precision.factor), t_point(size, df)
    low, high = (-margin - difference) / error, (margin - difference) / error
    if math.isinf(df):
        return max(0.0, float(ndtr(high - point) - ndtr(low + point)))
    widest = (high - low) / (2 * point)
    s, chance = _spread(df, widest)
    inside = ndtr(high - point * s) - ndtr(low + point * s)
    return float(chance @ np.maximum(inside, 0))


@cache
def legendre(nodes: int) -> tuple[Array, Array]:
    """Give the points and weights of Gauss-Legendre quadrature on -1 to 1.

    Parameters
    ----------
    nodes : int
        How many points.
    """
    points, weights = np.polynomial.legendre.leggauss(nodes)
    return points, weights


def _spread(df: float, most: float) -> tuple[Array, Array]:
    """Give nodes and chances of the observed over the true standard deviation, up to a value."""
    reach = 12 / math.sqrt(2 * df)
    low, high = max(0.0, 1 - reach), min(most, 1 + reach + 8 / df)
    if high <= low:
        low, high = 0.0, most
    points, weights = legendre(_NODES)
    s = low + (high - low) * (points + 1) / 2
    log_density = (
        math.log(2)
        + df / 2 * math.log(df / 2)
        - float(gammaln(df / 2))
        + (df - 1) * np.log(s)
        - df * s**2 / 2
    )
    return s, (high - low) / 2 * weights * np.exp(log_density)


def power_any_difference(
    means: Sequence[float],
    sd: float,
    units: float | Sequence[float],
    df: float,
    *,
    size: float = 0.05,
) -> float:
    """Give the chance that the joint test finds some difference among several treatments.

    Parameters
    ----------
    means : sequence of float
        True means, in the unit of the outcome.
    sd : float
        Standard deviation of the units that are compared.
    units : float or sequence of float
        Units of each treatment (blocks, in complete blocks with one unit each).
    df : float
        Degrees of freedom of the standard deviation.
    size : float
        Size of the test.

    Notes
    -----
    Non-central F with non-centrality sum n (mean - weighted mean)^2 / sd^2 (Scheffé 1959, The
    Analysis of Variance, section 2.8).
    """
    mu = np.asarray(means, float)
    n = np.broadcast_to(np.asarray(units, float), mu.shape)
    centre = float((n * mu).sum() / n.sum())
    shift = float((n * (mu - centre) ** 2).sum()) / sd**2
    groups = len(mu) - 1
    point = float(fdtri(groups, df, 1 - size))
    return 1 - float(ncfdtr(groups, df, shift, point))


def margin_of_error(sd: float, precision: Precision, confidence: float = 0.95) -> float:
    """Give half the width of the interval when the observed standard deviation is `sd`.

    Parameters
    ----------
    sd : float
        Standard deviation of the units that are compared, in the unit of the outcome.
    precision : Precision
        What the design offers.
    confidence : float
        Two-sided confidence.

    Notes
    -----
    Also the least significant difference of Fisher (1935).
    """
    return t_point((1 - confidence) / 2, precision.df) * sd * math.sqrt(precision.factor)


def expected_width(sd: float, precision: Precision, confidence: float = 0.95) -> float:
    """Give the width that the interval of the difference has on average.

    Parameters
    ----------
    sd : float
        True standard deviation of the units that are compared, in the unit of the outcome.
    precision : Precision
        What the design offers.
    confidence : float
        Two-sided confidence.

    Notes
    -----
    The observed standard deviation falls short of the true one on average by the factor
    sqrt(2 / df) Gamma((df + 1) / 2) / Gamma(df / 2).
    """
    df, shrunk = precision.df, 1.0
    if not math.isinf(df):
        log_ratio = float(gammaln((df + 1) / 2) - gammaln(df / 2))
        shrunk = math.sqrt(2 / df) * math.exp(log_ratio)
    return 2 * shrunk * margin_of_error(sd, precision, confidence)
