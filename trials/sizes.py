"""How many units a trial needs: what a design offers, and the search for a size or a difference."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

__all__ = [
    "MOST_UNITS",
    "Precision",
    "batch_sd",
    "complete_blocks",
    "exact_size",
    "latin_square",
    "smallest_difference",
    "sub_plots",
    "two_groups",
    "units_needed",
    "whole_plots",
]

MOST_UNITS = 10_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Precision:
    """What a design offers for one difference of two treatments.

    Attributes
    ----------
    factor : float
        Variance of the estimated difference, in units of the squared standard deviation of the
        units that are compared.
    df : float
        Degrees of freedom of that standard deviation; infinite when it is known.
    """

    factor: float
    df: float


def two_groups(n: float, other: float | None = None) -> Precision:
    """Give the precision of two groups of independent units.

    Parameters
    ----------
    n : float
        Units in the first group; a fraction is allowed, for the exact size behind a whole one.
    other : float, optional
        Units in the second group; as many when not given.
    """
    m = n if other is None else other
    return Precision(factor=1 / n + 1 / m, df=n + m - 2)


def complete_blocks(blocks: float, treatments: int, units: int = 1) -> Precision:
    """Give the precision of complete blocks; the standard deviation is that within a block.

    Parameters
    ----------
    blocks : float
        How many blocks.
    treatments : int
        Treatments in each block.
    units : int
        Units of each treatment in each block.

    Notes
    -----
    Cochran & Cox (1957), Experimental Designs, section 4.2: error df (b - 1)(t - 1) with one unit.
    """
    rows = blocks * treatments * units
    return Precision(factor=2 / (blocks * units), df=rows - blocks - treatments + 1)


def latin_square(treatments: int) -> Precision:
    """Give the precision of a Latin square; the standard deviation is that within rows and columns.

    Parameters
    ----------
    treatments : int
        Treatments, rows and columns.

    Notes
    -----
    Cochran & Cox (1957), section 4.3: error df (t - 1)(t - 2).
    """
    return Precision(factor=2 / treatments, df=(treatments - 1) * (treatments - 2))


def whole_plots(blocks: float, levels: int) -> Precision:
    """Give the precision of the factor that whole plots receive.

    Parameters
    ----------
    blocks : float
        How many blocks, each with one whole plot of each level.
    levels : int
        Levels of the factor. The standard deviation is that of whole-plot means.

    Notes
    -----
    Cochran & Cox (1957), section 7.12: error df (r - 1)(a - 1).
    """
    return Precision(factor=2 / blocks, df=(blocks - 1) * (levels - 1))


def sub_plots(blocks: float, whole_levels: int, levels: int) -> Precision:
    """Give the precision of the factor that sub-plots receive, averaged over whole plots.

    Parameters
    ----------
    blocks : float
        How many blocks.
    whole_levels : int
        Whole plots in each block.
    levels : int
        Levels of the factor in each whole plot. The standard deviation is that of sub-plots within
        a whole plot.

    Notes
    -----
    Cochran & Cox (1957), section 7.12: error df a (r - 1)(b - 1).
    """
    df = whole_levels * (blocks - 1) * (levels - 1)
    return Precision(factor=2 / (blocks * whole_levels), df=df)


def batch_sd(between: float, within: float, bags: int) -> float:
    """Give the standard deviation of batch means.

    Parameters
    ----------
    between, within : float
        Standard deviations of batches and of bags within a batch, in the unit of the outcome.
    bags : int
        Bags in each batch.
    """
    return math.sqrt(between**2 + within**2 / bags)


def exact_size(power_of: Callable[[float], float], power: float, least: float = 2.0) -> float:
    """Give the size, fraction and all, at which a power is reached.

    Parameters
    ----------
    power_of : callable
        Power by size; does not fall as the size grows.
    power : float
        The power wanted, between 0 and 1.
    least : float
        The smallest size that the design allows.

    Raises
    ------
    ValueError
        When no size up to ten million is enough.
    """
    if not 0 < power < 1:
        raise ValueError(f"power must lie between 0 and 1, got {power}")
    if power_of(least) >= power:
        return least
    low, high = least, 2 * least
    while power_of(high) < power:
        low, high = high, 2 * high
        if high > MOST_UNITS:
            raise ValueError(f"even {MOST_UNITS} units would not reach a power of {power}")
    while high - low > 1e-12 * high:
        middle = (low + high) / 2
        low, high = (middle, high) if power_of(middle) < power else (low, middle)
    return high


def units_needed(power_of: Callable[[float], float], power: float, least: int = 2) -> int:
    """Give the smallest whole size with at least a power.

    Parameters
    ----------
    power_of : callable
        Power by size; does not fall as the size grows.
    power : float
        The power wanted, between 0 and 1.
    least : int
        The smallest size that the design allows.
    """
    size = exact_size(power_of, power, float(least))
    whole = max(least, math.floor(size + 1e-9))
    return whole if power_of(whole) >= power else whole + 1


def smallest_difference(
    power_of: Callable[[float], float], power: float, largest: float = math.inf
) -> float:
    """Give the smallest difference that would be found with a power.

    Parameters
    ----------
    power_of : callable
        Power by difference, from 0 upwards; does not fall as the difference grows.
    power : float
        The power wanted, between 0 and 1.
    largest : float
        The largest difference that is possible.

    Raises
    ------
    ValueError
        When no difference is large enough.
    """
    if not 0 < power < 1:
        raise ValueError(f"power must lie between 0 and 1, got {power}")
    low, high = 0.0, 1.0 if math.isinf(largest) else largest
    while power_of(high) < power:
        low, high = high, 2 * high
        if high > min(largest, 1e12):
            raise ValueError(f"no difference would be found with a power of {power}")
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if power_of(middle) < power else (low, middle)
        if high - low <= 1e-14 * high:
            break
    return high
