"""Numbers for a statistician: every digit that counts, a dash where there is none."""

from __future__ import annotations

import math

__all__ = ["NOTHING", "digits", "interval", "p_value"]

NOTHING = "–"


def digits(value: float | None) -> str:
    """Write a number to five figures.

    Examples
    --------
    >>> digits(-1234.567), digits(float("inf")), digits(None)
    ('−1234.6', '∞', '–')
    """
    if value is None or math.isnan(value):
        return NOTHING
    return f"{value:.5g}".replace("inf", "∞").replace("-", "−")


def interval(low: float, high: float) -> str:
    """Write an interval; a dash where an end is not known."""
    if math.isnan(low) or math.isnan(high):
        return NOTHING
    return f"{digits(low)} to {digits(high)}"


def p_value(value: float | None) -> str:
    """Write a p value to four decimals.

    Examples
    --------
    >>> p_value(0.03), p_value(1e-9)
    ('0.0300', '< 0.0001')
    """
    if value is None or math.isnan(value):
        return NOTHING
    return "< 0.0001" if value < 1e-4 else f"{value:.4f}"
