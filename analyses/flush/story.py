"""What the flushes say, as plain values: shares kept, what came, what to expect."""

from __future__ import annotations

from dataclasses import dataclass

from analyses.estimate import Span

__all__ = ["Expected", "FlushCount", "FlushStory", "Kept", "KeptContrast", "Outlook", "Step"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """The share of a flush that the next one keeps.

    Parameters
    ----------
    treatment : str
        Its code; empty for all together.
    value, low, high : float
        Share, 0 and more.
    level : float
        Confidence.
    slope, error, df : float
        Slope of the natural logarithm of the weight a flush, its standard error, degrees of
        freedom.
    units, rows : int
        Units, and flushes that came.
    """

    treatment: str
    value: float
    low: float
    high: float
    level: float
    slope: float
    error: float
    df: float
    units: int
    rows: int


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptContrast:
    """The share kept with one treatment over that with the control.

    Parameters
    ----------
    treatment, control : str
        Codes.
    value, low, high : float
        Ratio of the shares; alone, not widened for other comparisons.
    log_ratio, error, df, t, p : float
        Difference of the slopes and its test.
    """

    treatment: str
    control: str
    value: float
    low: float
    high: float
    log_ratio: float
    error: float
    df: float
    t: float
    p: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One flush over the one before, where both came.

    Parameters
    ----------
    treatment : str
        Its code; empty for all together.
    flush : int
        The later one.
    value, low, high : float
        Ratio of geometric means.
    """

    treatment: str
    flush: int
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FlushCount:
    """What became of the units of one treatment at one flush; the fates sum to `started`.

    Parameters
    ----------
    treatment : str
        Its code.
    flush : int
        From 1.
    started : int
        Units made.
    came, nothing : int
        Weighed more than 0 g, and looked at with nothing there.
    lost_before : int
        Thrown out before this flush.
    unknown : int
        Stood, but the weight was not written down; or nothing is written about the unit.
    still_picking : int
        Stand and are not that far yet.
    stopped : int
        Stood when picking stopped for all.
    """

    treatment: str
    flush: int
    started: int
    came: int
    nothing: int
    lost_before: int
    unknown: int
    still_picking: int
    stopped: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What a flush brings, as the three parts together say.

    Parameters
    ----------
    treatment : str
        Its code.
    flush : int
        From 1.
    grams : Span
        Per unit started, whatever becomes of it.
    share : Span
        Of all that is expected over the flushes picked, 0 to 1; NaN beyond them.
    standing, comes : float
        Share of the units started that still stand, and chance that such a one gives the flush.
    foretold : bool
        Whether it lies beyond the flushes that were picked.
    """

    treatment: str
    flush: int
    grams: Span
    share: Span
    standing: float
    comes: float
    foretold: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """What to expect of one treatment over all flushes.

    Parameters
    ----------
    treatment : str
        Its code.
    total : Span
        Grams per unit started over the flushes picked.
    no_end : Span
        Grams of a unit that is never lost and always gives, were it picked without end.
    picked_share : float
        Share of that which the flushes picked bring.
    flushes_given : float
        Flushes that a unit started gives on average.
    """

    treatment: str
    total: Span
    no_end: Span
    picked_share: float
    flushes_given: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FlushStory:
    """Everything about how the flushes fall.

    Parameters
    ----------
    planned, picked : int
        Flushes planned, and the last one that anyone picked.
    kept : tuple of Kept
        All together first, then each treatment that has one.
    contrasts : tuple of KeptContrast
        Each against the control.
    curvature_p : float
        Of a straight fall of the logarithm, against any; NaN with fewer than three flushes.
    curved : bool
        Whether the fall is not even, so that the steps must be told one by one.
    spread_by_flush : bool
        Whether the flushes spread differently, so that each has its own residual variance.
    spread_p : float
        Of equal spread, by likelihood ratio.
    steps : tuple of Step
        Successive ratios, all together first.
    counts : tuple of FlushCount
        Every treatment and planned flush.
    expected : tuple of Expected
        Every treatment and flush picked, and those foretold.
    outlooks : tuple of Outlook
        Every treatment.
    draws, seed : int
        Simulated trials behind the ranges of `expected`; 0 draws where there are none.
    why_no_ranges : str
        Why; empty where there are some.
    notes : tuple of str
        For the statistician.
    """

    planned: int
    picked: int
    kept: tuple[Kept, ...]
    contrasts: tuple[KeptContrast, ...]
    curvature_p: float
    curved: bool
    spread_by_flush: bool
    spread_p: float
    steps: tuple[Step, ...]
    counts: tuple[FlushCount, ...]
    expected: tuple[Expected, ...]
    outlooks: tuple[Outlook, ...]
    draws: int
    seed: int
    why_no_ranges: str
    notes: tuple[str, ...]

    def kept_by(self, treatment: str) -> Kept | None:
        """Give the share kept with a treatment, or None where there is none."""
        return next((one for one in self.kept if one.treatment == treatment), None)
