"""A number that stands beside an estimate for the statistician, and never judges it."""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["Companion", "from_log"]

_FARTHEST = 30.0  # ten million million to one: no end that means anything


@dataclass(frozen=True, slots=True, kw_only=True)
class Companion:
    """The same comparison in another measure or by another method.

    Parameters
    ----------
    measure : str
        What it is: ``risk ratio``, ``odds ratio``, ``intracluster correlation``.
    value, low, high : float
        In the measure's own scale; NaN where it has none or none could be had.
    level : float
        Two-sided confidence of this comparison by itself.
    p : float or None
        Of the method; `method` says against what.
    df : float or None
        Degrees of freedom, where the method has them.
    method : str
        In words.
    note : str
        Why there is no number, or what to mind; else empty.
    """

    measure: str
    value: float = math.nan
    low: float = math.nan
    high: float = math.nan
    level: float = math.nan
    p: float | None = None
    df: float | None = None
    method: str
    note: str = ""


def from_log(value: float) -> float:
    """Give the ratio whose logarithm is known; the far ends are nothing and endless.

    Parameters
    ----------
    value : float
        A log odds ratio.

    Examples
    --------
    >>> from_log(0.0), from_log(-126.0), from_log(126.0)
    (1.0, 0.0, inf)
    """
    if abs(value) > _FARTHEST:
        return math.inf if value > 0 else 0.0
    return math.exp(value)
