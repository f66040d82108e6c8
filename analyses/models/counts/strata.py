"""Two-by-two tables in strata: Mantel-Haenszel estimates and tests, and the exact analysis."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc

from analyses.models.counts.exact_tables import (
    ConditionalOdds,
    margins_of,
    odds_from_margins,
)
from analyses.models.counts.one_share import Bound, check_counts, normal_quantile
from analyses.models.numerics.bracketing import find_root

__all__ = [
    "Pooled",
    "Strata",
    "StrataTest",
    "breslow_day",
    "check_strata",
    "cochran_mantel_haenszel",
    "exact_common_odds",
    "pooled_difference",
    "pooled_odds",
    "pooled_ratio",
]

Array: TypeAlias = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Strata:
    """Counts of two groups in each stratum, strata with only one group left out.

    Attributes
    ----------
    x1, n1, x2, n2 : ndarray, shape (strata,)
        Events and totals of the two groups.
    left_out : int
        Strata with units of one group only, which say nothing about the difference.
    """

    x1: Array
    n1: Array
    x2: Array
    n2: Array
    left_out: int

    @property
    def n(self) -> Array:
        """Units in each stratum."""
        return self.n1 + self.n2

    @property
    def events(self) -> Array:
        """Units with the event in each stratum."""
        return self.x1 + self.x2


@dataclass(frozen=True, slots=True, kw_only=True)
class Pooled:
    """A measure common to all strata.

    Attributes
    ----------
    value, low, high : float
        The measure and its limits; nan when the strata cannot tell.
    level : float
        Two-sided confidence.
    error : float
        Standard error, of the logarithm for ratios.
    measure : {"risk difference", "risk ratio", "odds ratio"}
        What is common.
    strata, left_out : int
        Strata used, and strata with one group only.
    method : str
        The name of the estimate and of its variance.
    """

    value: float
    low: float
    high: float
    level: float
    error: float
    measure: str
    strata: int
    left_out: int
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StrataTest:
    """A chi-squared test over strata.

    Attributes
    ----------
    statistic : float
        Chi-squared statistic; nan when no stratum has both an event and a unit without one.
    df : int
        Degrees of freedom.
    p : float
        p value; 1 when the statistic is nan, since nothing could differ.
    method : str
        The name of the test.
    """

    statistic: float
    df: int
    p: float
    method: str


def check_strata(
    x1: npt.ArrayLike, n1: npt.ArrayLike, x2: npt.ArrayLike, n2: npt.ArrayLike
) -> Strata:
    """Give checked counts of two groups by stratum, without strata that hold only one group.

    Parameters
    ----------
    x1, n1, x2, n2 : array_like, shape (strata,)
        Events and totals of the two groups; a total of 0 says that the group is absent.
    """
    each = np.broadcast_arrays(*(np.atleast_1d(np.asarray(c, float)) for c in (x1, n1, x2, n2)))
    both = (each[1] > 0) & (each[3] > 0)
    if not both.any():
        raise ValueError("no stratum holds units of both groups, so they cannot be compared")
    a, m1, c, m2 = (one[both] for one in each)
    check_counts(a, m1), check_counts(c, m2)
    return Strata(x1=a, n1=m1, x2=c, n2=m2, left_out=int((~both).sum()))


def _on_log_scale(
    s: Strata, top: float, bottom: float, variance: float, level: float, measure: str, method: str
) -> Pooled:
    if top > 0 and bottom > 0:
        value, error = top / bottom, variance**0.5
        half = normal_quantile(level) * error
        low, high = value * np.exp(-half), value * np.exp(half)
    else:
        value = float("nan") if top == bottom else (0.0 if top == 0 else float("inf"))
        low, high, error = float("nan"), float("nan"), float("nan")
    return Pooled(
        value=float(value),
        low=float(low),
        high=float(high),
        level=level,
        error=float(error),
        measure=measure,
        strata=len(s.x1),
        left_out=s.left_out,
        method=method,
    )


def pooled_odds(s: Strata, level: float = 0.95) -> Pooled:
    """Give the common odds ratio of Mantel and Haenszel.

    Parameters
    ----------
    s : Strata
        Counts by stratum.
    level : float
        Two-sided confidence.

    Notes
    -----
    Mantel & Haenszel (1959), J. Natl Cancer Inst. 22, 719-748; variance of Robins, Breslow &
    Greenland (1986), Biometrics 42, 311-323. Equal to StratifiedTable of statsmodels, which has no
    risk difference and no interval for the risk ratio.
    """
    a, b, c, d = s.x1, s.n1 - s.x1, s.x2, s.n2 - s.x2
    r, t = a * d / s.n, b * c / s.n
    share_ad, share_bc = (a + d) / s.n, (b + c) / s.n
    top, bottom = float(r.sum()), float(t.sum())
    variance = 0.0
    if top > 0 and bottom > 0:
        variance = float(
            (share_ad * r).sum() / (2 * top**2)
            + (share_ad * t + share_bc * r).sum() / (2 * top * bottom)
            + (share_bc * t).sum() / (2 * bottom**2)
        )
    method = "Mantel-Haenszel (Robins-Breslow-Greenland variance)"
    return _on_log_scale(s, top, bottom, variance, level, "odds ratio", method)


def pooled_ratio(s: Strata, level: float = 0.95) -> Pooled:
    """Give the common risk ratio of Mantel and Haenszel.

    Parameters
    ----------
    s : Strata
        Counts by stratum.
    level : float
        Two-sided confidence.

    Notes
    -----
    Estimate and variance of Greenland & Robins (1985), Biometrics 41, 55-68, equations 4 and 13.
    """
    top, bottom = float((s.x1 * s.n2 / s.n).sum()), float((s.x2 * s.n1 / s.n).sum())
    spread = ((s.n1 * s.n2 * s.events - s.x1 * s.x2 * s.n) / s.n**2).sum()
    variance = float(spread / (top * bottom)) if top > 0 and bottom > 0 else 0.0
    method = "Mantel-Haenszel (Greenland-Robins variance)"
    return _on_log_scale(s, top, bottom, variance, level, "risk ratio", method)


def pooled_difference(s: Strata, level: float = 0.95) -> Pooled:
    """Give the common risk difference of Mantel and Haenszel.

    Parameters
    ----------
    s : Strata
        Counts by stratum.
    level : float
        Two-sided confidence.

    Notes
    -----
    Greenland & Robins (1985); variance of Sato (1989), Biometrics 45, 1323-1324, which holds for
    few large and for many small strata alike.
    """
    a, c, n1, n2, n = s.x1, s.x2, s.n1, s.n2, s.n
    weight = float((n1 * n2 / n).sum())
    value = float(((a * n2 - c * n1) / n).sum()) / weight
    p = ((c * n1**2 - a * n2**2 + n1 * n2 * (n2 - n1) / 2) / n**2).sum()
    q = ((a * (n2 - c) + c * (n1 - a)) / (2 * n)).sum()
    error = float(np.sqrt(max(value * p + q, 0.0))) / weight
    half = normal_quantile(level) * error
    return Pooled(
        value=value,
        low=max(-1.0, value - half),
        high=min(1.0, value + half),
        level=level,
        error=error,
        measure="risk difference",
        strata=len(a),
        left_out=s.left_out,
        method="Mantel-Haenszel (Sato variance)",
    )


def cochran_mantel_haenszel(s: Strata, *, continuity: bool = False) -> StrataTest:
    """Test that the two groups do not differ in any stratum.

    Parameters
    ----------
    s : Strata
        Counts by stratum.
    continuity : bool
        Take half an event off the distance, as the first paper did.

    Notes
    -----
    Mantel & Haenszel (1959).
    """
    variance = s.n1 * s.n2 * s.events * (s.n - s.events) / (s.n**2 * np.maximum(s.n - 1, 1))
    method = "Cochran-Mantel-Haenszel" + (" with continuity correction" if continuity else "")
    if variance.sum() == 0:
        return StrataTest(statistic=float("nan"), df=1, p=1.0, method=method)
    away = abs(float((s.x1 - s.n1 * s.events / s.n).sum()))
    if continuity:
        away = max(away - 0.5, 0.0)
    statistic = away**2 / float(variance.sum())
    return StrataTest(statistic=statistic, df=1, p=float(chdtrc(1, statistic)), method=method)


def breslow_day(s: Strata, *, tarone: bool = True) -> StrataTest:
    """Test that the odds ratio is the same in all strata.

    Parameters
    ----------
    s : Strata
        Counts by stratum.
    tarone : bool
        With Tarone's correction, which makes the test asymptotically right.

    Notes
    -----
    Breslow & Day (1980), Statistical Methods in Cancer Research I, equation 4.30; Tarone (1985),
    Biometrika 72, 91-95. Strata in which all or no units had the event are left out: they hold
    nothing about the odds ratio.
    """
    method = "Breslow-Day" + (" with Tarone's correction" if tarone else "")
    common = pooled_odds(s).value
    told = (s.events > 0) & (s.events < s.n)
    df = max(int(told.sum()) - 1, 0)
    if not np.isfinite(common) or common == 0 or df == 0:
        return StrataTest(statistic=float("nan"), df=df, p=1.0, method=method)
    x1, n1, events, n2 = s.x1[told], s.n1[told], s.events[told], s.n2[told]

    def excess(x: Array) -> Array:
        return np.asarray(x * (n2 - events + x) - common * (n1 - x) * (events - x))

    fit = find_root(excess, np.maximum(0, events - n2), np.minimum(n1, events))
    variance = 1 / (1 / fit + 1 / (n1 - fit) + 1 / (events - fit) + 1 / (n2 - events + fit))
    statistic = float(((x1 - fit) ** 2 / variance).sum())
    if tarone:
        statistic -= float((x1 - fit).sum() ** 2 / variance.sum())
    return StrataTest(statistic=statistic, df=df, p=float(chdtrc(df, statistic)), method=method)


def exact_common_odds(
    s: Strata, level: float = 0.95, *, bound: Bound = "both", mid: bool = False
) -> ConditionalOdds:
    """Give the conditional common odds ratio of strata with exact interval and test.

    Parameters
    ----------
    s : Strata
        Counts by stratum.
    level : float
        Confidence of the interval, or of the one-sided bound.
    bound : {"both", "lower", "upper"}
        One-sided bounds put all the error on one side.
    mid : bool
        Mid-p limits in place of the exact ones.

    Notes
    -----
    Gart (1970), Biometrika 57, 471-475; the distribution of the sum by convolution. Solved to full
    precision, where the exact Mantel-Haenszel limits of general software stop at about 1e-2.
    """
    counts = zip(*(one.astype(int).tolist() for one in (s.x1, s.n1, s.x2, s.n2)), strict=True)
    tables = [margins_of(*row) for row in counts]
    observed = int(s.x1.sum())
    return odds_from_margins(
        tables, observed, level, bound=bound, mid=mid, method="exact Mantel-Haenszel"
    )
