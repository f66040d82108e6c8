"""Several treatments against one control: the critical point and the power of each comparison."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln, nctdtr, ndtr

from trials.sizing.mean_sizes import legendre, t_point

__all__ = ["against_control_point", "power_against_control"]

Array: TypeAlias = npt.NDArray[np.float64]

_NODES = 64


def _chi_nodes(df: float) -> tuple[Array, Array]:
    """Give nodes and chances of the observed over the true standard deviation."""
    if math.isinf(df):
        return np.ones(1), np.ones(1)
    reach = 10 / math.sqrt(2 * df)
    low, high = max(0.0, 1 - reach), 1 + reach + 6 / df
    points, weights = legendre(_NODES)
    s = low + (high - low) * (points + 1) / 2
    log_density = (df - 1) * np.log(s) - df * s**2 / 2 + df / 2 * math.log(df / 2)
    log_density += math.log(2) - float(gammaln(df / 2))
    return s, (high - low) / 2 * weights * np.exp(log_density)


def _chance_all_within(point: float, share: Array, df: float, sides: int) -> float:
    """Give the chance that all comparisons stay within a point when nothing differs."""
    points, weights = legendre(_NODES)
    z, chance_z = 9 * points, 9 * weights * np.exp(-40.5 * points**2) / math.sqrt(2 * math.pi)
    s, chance_s = _chi_nodes(df)
    root, rest = np.sqrt(share), np.sqrt(1 - share)
    upper = (point * s[:, None, None] + root * z[None, :, None]) / rest
    inside = ndtr(upper)
    if sides == 2:
        inside = inside - ndtr((-point * s[:, None, None] + root * z[None, :, None]) / rest)
    return float(chance_s @ np.prod(inside, axis=2) @ chance_z)


def against_control_point(
    units: Sequence[float], control: float, df: float, *, size: float = 0.05, sides: int = 2
) -> float:
    """Give the critical t for all comparisons with one control together.

    Parameters
    ----------
    units : sequence of float
        Units of each treatment.
    control : float
        Units of the control.
    df : float
        Degrees of freedom of the standard deviation.
    size : float
        Chance of at least one wrong finding when nothing differs.
    sides : {1, 2}
        One- or two-sided comparisons.

    Notes
    -----
    Dunnett (1955), JASA 50, 1096-1121, by integration over the control's mean and the standard
    deviation; unequal sizes by the product structure of the correlations.

    Examples
    --------
    >>> round(against_control_point([5, 5, 5], 5, 20), 2)
    2.54
    """
    n = np.asarray(units, float)
    share = n / (n + control)
    # The point lies between that of one comparison and Bonferroni's.
    low, high = t_point(size / sides, df), t_point(size / sides / len(n), df)
    if len(n) == 1:
        return low
    from scipy.optimize import brentq

    def excess(point: float) -> float:
        return 1 - _chance_all_within(point, share, df, sides) - size

    return float(brentq(excess, low, high + 1e-9, xtol=1e-13, rtol=1e-13))


def power_against_control(
    difference: float,
    sd: float,
    units: float,
    treatments: int,
    df: float,
    *,
    control: float | None = None,
    size: float = 0.05,
    sides: int = 2,
) -> float:
    """Give the chance of finding one treatment's difference from the control, all being compared.

    Parameters
    ----------
    difference : float
        That treatment's true difference, in the unit of the outcome.
    sd : float
        Standard deviation of the units that are compared.
    units : float
        Units of each treatment.
    treatments : int
        Treatments beside the control.
    df : float
        Degrees of freedom of the standard deviation.
    control : float, optional
        Units of the control; as many as of each treatment when not given.
    size : float
        Chance of at least one wrong finding when nothing differs.
    sides : {1, 2}
        One- or two-sided comparisons.
    """
    if df <= 0:
        return 0.0
    n0 = units if control is None else control
    point = against_control_point([units] * treatments, n0, df, size=size, sides=sides)
    shift = difference / (sd * math.sqrt(1 / units + 1 / n0))
    if math.isinf(df):
        return float(ndtr(shift - point) + (ndtr(-shift - point) if sides == 2 else 0.0))
    upper = float(nctdtr(df, -shift, -point))
    return upper + (float(nctdtr(df, shift, -point)) if sides == 2 else 0.0)
