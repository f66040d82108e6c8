"""Two groups of whole clusters: what counts is the clusters, not the units in them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, stdtr, stdtrit

from analyses.models.counts.one_share import check_counts, check_level

__all__ = [
    "ClusterDifference",
    "DesignEffectTest",
    "adjusted_test",
    "anova_correlation",
    "cluster_difference",
    "design_effect",
]

Array: TypeAlias = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ClusterDifference:
    """A difference of the mean shares of two groups of clusters, first less second.

    Attributes
    ----------
    value, low, high : float
        The difference of the mean shares and its limits.
    level : float
        Two-sided confidence.
    error, df, t, p : float
        Standard error, degrees of freedom (clusters less two, or Welch's), and the two-sided test
        of the null difference. With clusters that do not vary at all there is no test: t, p and
        the limits are nan.
    null : float
        The difference under the null hypothesis: 0, or a margin.
    p_less, p_greater : float
        One-sided p values: that the difference lies below, or above, the null difference.
    clusters : tuple of int
        Clusters in the two groups.
    method : str
        The name of the analysis.
    """

    value: float
    low: float
    high: float
    level: float
    error: float
    df: float
    t: float
    p: float
    null: float
    p_less: float
    p_greater: float
    clusters: tuple[int, int]
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignEffectTest:
    """Pearson's chi-squared of two groups, naive and allowing for clusters.

    Attributes
    ----------
    naive, adjusted : float
        Chi-squared statistics on one degree of freedom, of units and allowing for clusters.
    p_naive, p : float
        Their p values.
    correlation : float
        Intracluster correlation by analysis of variance; may be below zero.
    inflation : tuple of float
        Design effect of the two groups, at least 1.
    """

    naive: float
    adjusted: float
    p_naive: float
    p: float
    correlation: float
    inflation: tuple[float, float]


def design_effect(sizes: npt.ArrayLike, correlation: float) -> float:
    """Give how many times as many units a clustered sample needs.

    Parameters
    ----------
    sizes : array_like
        Units of each cluster.
    correlation : float
        Intracluster correlation.

    Notes
    -----
    Kish (1965), Survey Sampling, section 5.4; for unequal sizes with the size that a unit meets,
    sum m^2 / sum m (Donner & Klar 2000, Design and Analysis of Cluster Randomization Trials).

    Examples
    --------
    >>> design_effect([12, 12, 12], 0.05)
    1.55
    """
    m = np.atleast_1d(np.asarray(sizes, float))
    return float(1 + ((m**2).sum() / m.sum() - 1) * correlation)


def _groups(
    events: npt.ArrayLike, totals: npt.ArrayLike, second: npt.ArrayLike
) -> tuple[Array, Array, npt.NDArray[np.bool_]]:
    y, m = check_counts(events, totals)
    mark = np.asarray(second, bool)
    if mark.all() or not mark.any():
        raise ValueError("both groups need at least one cluster")
    return y, m, mark


def cluster_difference(
    events: npt.ArrayLike,
    totals: npt.ArrayLike,
    second: npt.ArrayLike,
    level: float = 0.95,
    *,
    null: float = 0.0,
    equal_variances: bool = True,
) -> ClusterDifference:
    """Compare two groups by the shares of their clusters, each cluster counting once.

    Parameters
    ----------
    events, totals : array_like, shape (clusters,)
        Units with the event and units in all of each cluster.
    second : array_like of bool, shape (clusters,)
        Whether a cluster belongs to the second group.
    level : float
        Two-sided confidence.
    null : float
        The difference to test against; a margin for "no worse".
    equal_variances : bool
        Student's t with a pooled variance, or Welch's.

    Raises
    ------
    ValueError
        With fewer than two clusters in a group where a variance is needed.

    Notes
    -----
    Donner & Klar (2000), section 6.2: the t test of cluster shares is robust to unequal sizes and
    keeps its error with few clusters.
    """
    y, m, mark = _groups(events, totals, second)
    shares = [(y / m)[~mark], (y / m)[mark]]
    k1, k2 = (len(one) for one in shares)
    if k1 + k2 < 3 or (not equal_variances and min(k1, k2) < 2):
        raise ValueError(f"{k1} against {k2} clusters leave no way to see how clusters vary")
    squares = [float(((one - one.mean()) ** 2).sum()) for one in shares]
    if equal_variances:
        df = float(k1 + k2 - 2)
        variance = sum(squares) / df * (1 / k1 + 1 / k2)
    else:
        parts = [squares[0] / (k1 - 1) / k1, squares[1] / (k2 - 1) / k2]
        variance = sum(parts)
        df = variance**2 / max(parts[0] ** 2 / (k1 - 1) + parts[1] ** 2 / (k2 - 1), 1e-300)
    value = float(shares[0].mean() - shares[1].mean())
    return _by_t(value, variance**0.5, df, level, null, (k1, k2), equal_variances)


def _by_t(
    value: float,
    error: float,
    df: float,
    level: float,
    null: float,
    clusters: tuple[int, int],
    equal: bool,
) -> ClusterDifference:
    # Clusters that do not vary at all give no measure of chance: nothing is claimed from them.
    t = (value - null) / error if error > 0 else float("nan")
    reach = float(stdtrit(df, 1 - (1 - check_level(level)) / 2))
    half = reach * error if error > 0 else float("nan")
    return ClusterDifference(
        value=value,
        low=value - half,
        high=value + half,
        level=level,
        error=error,
        df=df,
        t=t,
        p=float(2 * stdtr(df, -abs(t))),
        null=null,
        p_less=float(stdtr(df, t)),
        p_greater=float(stdtr(df, -t)),
        clusters=clusters,
        method="t of cluster shares" + ("" if equal else " (Welch)"),
    )


def anova_correlation(events: npt.ArrayLike, totals: npt.ArrayLike, second: npt.ArrayLike) -> float:
    """Give the intracluster correlation by analysis of variance within two groups.

    Parameters
    ----------
    events, totals : array_like, shape (clusters,)
        Units with the event and units in all of each cluster.
    second : array_like of bool, shape (clusters,)
        Whether a cluster belongs to the second group.

    Returns
    -------
    float
        May be below zero; nan when every cluster lost all units or none.

    Notes
    -----
    Donner & Klar (2000), section 6.2, equation for rho; Ridout, Demetrio & Firth (1999),
    Biometrics 55, 137-148, their ANOVA estimator.
    """
    y, m, mark = _groups(events, totals, second)
    k, units = len(y), float(m.sum())
    group = [~mark, mark]
    between = sum(float((m[g] * (y[g] / m[g] - y[g].sum() / m[g].sum()) ** 2).sum()) for g in group)
    met = sum(float((m[g] ** 2).sum() / m[g].sum()) for g in group)
    if units == k or k < 3:
        return float("nan")
    msw = float((y * (m - y) / m).sum()) / (units - k)
    msb = between / (k - 2)
    size = (units - met) / (k - 2)
    below = msb + (size - 1) * msw
    return (msb - msw) / below if below > 0 else float("nan")


def adjusted_test(
    events: npt.ArrayLike, totals: npt.ArrayLike, second: npt.ArrayLike
) -> DesignEffectTest:
    """Give Pearson's chi-squared of two groups, naive and divided by the design effects.

    Parameters
    ----------
    events, totals : array_like, shape (clusters,)
        Units with the event and units in all of each cluster.
    second : array_like of bool, shape (clusters,)
        Whether a cluster belongs to the second group.

    Notes
    -----
    Donner & Klar (2000), section 6.2.1: the naive test is what counting units would have claimed.
    """
    y, m, mark = _groups(events, totals, second)
    rho = anova_correlation(y, m, mark)
    pooled = float(y.sum() / m.sum())
    unit = pooled * (1 - pooled)
    naive = adjusted = 0.0
    inflation = []
    for g in (~mark, mark):
        n, share = float(m[g].sum()), float(y[g].sum() / m[g].sum())
        # Clusters cannot be less alike than chance would make them: below zero counts as zero.
        inflation.append(design_effect(m[g], max(rho, 0.0)))
        distance = n * (share - pooled) ** 2 / unit if unit > 0 else 0.0
        naive += distance
        adjusted += distance / inflation[-1]
    return DesignEffectTest(
        naive=naive,
        adjusted=adjusted,
        p_naive=float(chdtrc(1, naive)),
        p=float(chdtrc(1, adjusted)),
        correlation=rho,
        inflation=(inflation[0], inflation[1]),
    )
