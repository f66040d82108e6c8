"""Power and width for shares of bags lost: different, no worse, just as good, whole batches."""

from __future__ import annotations

import math
from typing import Literal, TypeAlias

from scipy.special import ndtr, ndtri

__all__ = [
    "Variance",
    "design_effect",
    "expected_share_width",
    "power_ratio_margin",
    "power_share_margin",
    "power_shares_differ",
    "power_shares_same",
    "restricted_shares",
]

Variance: TypeAlias = Literal["null", "separate"]


def _point(tail: float) -> float:
    return float(-ndtri(tail))


def _check(*shares: float) -> None:
    for share in shares:
        if not 0 <= share <= 1:
            raise ValueError(f"a share lies between 0 and 1, got {share}")


def _separate(p1: float, n1: float, p2: float, n2: float) -> float:
    return p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2


def power_shares_differ(
    p1: float,
    n1: float,
    p2: float,
    n2: float | None = None,
    *,
    size: float = 0.05,
    sides: int = 2,
    variance: Variance = "null",
) -> float:
    """Give the chance of finding that two shares of independent units differ.

    Parameters
    ----------
    p1, p2 : float
        True shares, between 0 and 1.
    n1, n2 : float
        Units in the groups; the second as many as the first when not given.
    size : float
        Size of the test.
    sides : {1, 2}
        One- or two-sided.
    variance : {"null", "separate"}
        The test's variance: of the pooled share, or of each share by itself.

    Notes
    -----
    Normal approximation (Fleiss, Levin & Paik 2003, Statistical Methods for Rates and Proportions,
    section 4.2, without continuity correction), both tails counted.

    Examples
    --------
    >>> round(power_shares_differ(0.50, 50, 0.75), 2)
    0.74
    """
    _check(p1, p2)
    m = n1 if n2 is None else n2
    pooled = (n1 * p1 + m * p2) / (n1 + m)
    true = math.sqrt(_separate(p1, n1, p2, m))
    used = math.sqrt(_separate(pooled, n1, pooled, m)) if variance == "null" else true
    if true == 0:
        return 1.0 if p1 != p2 else 0.0
    reach, distance = _point(size / sides) * used, abs(p1 - p2)
    upper = float(ndtr((distance - reach) / true))
    return upper + (float(ndtr((-distance - reach) / true)) if sides == 2 else 0.0)


def restricted_shares(p1: float, p2: float, ratio: float, difference: float) -> tuple[float, float]:
    """Give the shares that data at the true shares would be fitted by under a difference.

    Parameters
    ----------
    p1, p2 : float
        True shares.
    ratio : float
        Units of the second group over units of the first.
    difference : float
        First less second share under the null hypothesis.

    Notes
    -----
    Farrington & Manning (1990), Statist. Med. 9, 1447-1454, appendix.
    """
    a = 1 + ratio
    b = -(1 + ratio + p1 + ratio * p2 + difference * (ratio + 2))
    c = difference**2 + difference * (2 * p1 + ratio + 1) + p1 + ratio * p2
    d = -p1 * difference * (1 + difference)
    v = b**3 / (3 * a) ** 3 - b * c / (6 * a**2) + d / (2 * a)
    u = math.copysign(math.sqrt(max(b**2 / (3 * a) ** 2 - c / (3 * a), 0.0)), v)
    cosine = max(-1.0, min(1.0, v / u**3)) if u else 0.0
    first = 2 * u * math.cos((math.pi + math.acos(cosine)) / 3) - b / (3 * a)
    first = min(max(first, 0.0, difference), 1.0, 1 + difference)
    return first, first - difference


def _restricted_by_ratio(p1: float, p2: float, ratio: float, risk: float) -> tuple[float, float]:
    """Give the shares fitted under p1 = risk * p2 (Farrington & Manning 1990, appendix)."""
    a = 1 + ratio
    b = -(risk * (1 + ratio * p2) + ratio + p1)
    c = risk * (p1 + ratio * p2)
    first = (-b - math.sqrt(max(b**2 - 4 * a * c, 0.0))) / (2 * a)
    return first, first / risk


def _one_sided(distance: float, used: float, true: float, size: float) -> float:
    if true == 0:
        return 1.0 if distance > _point(size) * used else 0.0
    return float(ndtr((distance - _point(size) * used) / true))


def power_share_margin(
    p1: float,
    n1: float,
    p2: float,
    n2: float | None = None,
    *,
    margin: float,
    size: float = 0.05,
    variance: Variance = "null",
) -> float:
    """Give the chance of showing that p1 - p2 lies on the true side of a margin.

    Parameters
    ----------
    p1, p2 : float
        True shares.
    n1, n2 : float
        Units in the groups; the second as many as the first when not given.
    margin : float
        The difference under the null hypothesis, with its sign: 0.10 asks whether the first group
        loses less than ten in a hundred more; -0.10 whether it keeps more than ten less.
    size : float
        Size of the one-sided test.
    variance : {"null", "separate"}
        The test's variance: of the shares restricted to the margin, or of each share by itself
        (Blackwelder 1982, Controlled Clinical Trials 3, 345-353).

    Notes
    -----
    Farrington & Manning (1990), method 3.
    """
    _check(p1, p2)
    m = n1 if n2 is None else n2
    true = math.sqrt(_separate(p1, n1, p2, m))
    used = true
    if variance == "null":
        r1, r2 = restricted_shares(p1, p2, m / n1, margin)
        used = math.sqrt(_separate(r1, n1, r2, m))
    return _one_sided(abs(p1 - p2 - margin), used, true, size)


def power_ratio_margin(
    p1: float, n1: float, p2: float, n2: float | None = None, *, ratio: float, size: float = 0.05
) -> float:
    """Give the chance of showing that p1 / p2 lies on the true side of a ratio.

    Parameters
    ----------
    p1, p2 : float
        True shares.
    n1, n2 : float
        Units in the groups; the second as many as the first when not given.
    ratio : float
        The risk ratio under the null hypothesis, above 0.
    size : float
        Size of the one-sided test.

    Notes
    -----
    Farrington & Manning (1990), the test of p1 - ratio * p2 with the restricted variance.
    """
    _check(p1, p2)
    if ratio <= 0:
        raise ValueError(f"a ratio must be above zero, got {ratio}")
    m = n1 if n2 is None else n2
    r1, r2 = _restricted_by_ratio(p1, p2, m / n1, ratio)
    true = math.sqrt(p1 * (1 - p1) / n1 + ratio**2 * p2 * (1 - p2) / m)
    used = math.sqrt(r1 * (1 - r1) / n1 + ratio**2 * r2 * (1 - r2) / m)
    return _one_sided(abs(p1 - ratio * p2), used, true, size)


def power_shares_same(
    p1: float,
    n1: float,
    p2: float,
    n2: float | None = None,
    *,
    margin: float,
    size: float = 0.05,
    variance: Variance = "null",
) -> float:
    """Give the chance of showing by two one-sided tests that two shares differ by less.

    Parameters
    ----------
    p1, p2 : float
        True shares.
    n1, n2 : float
        Units in the groups; the second as many as the first when not given.
    margin : float
        Half the width of the region that counts as the same, above 0.
    size : float
        Size of each one-sided test.
    variance : {"null", "separate"}
        The tests' variance, as for `power_share_margin`.

    Notes
    -----
    Both tests must succeed; their chances add up to one more than the chance of both, as far as
    the normal approximation goes (Schuirmann 1987).
    """
    if margin <= 0:
        raise ValueError(f"a margin must be above zero, got {margin}")
    if not -margin < p1 - p2 < margin:
        return 0.0
    below, above = (
        power_share_margin(p1, n1, p2, n2, margin=side, size=size, variance=variance)
        for side in (margin, -margin)
    )
    return max(0.0, below + above - 1)


def design_effect(bags: float, correlation: float, cv: float = 0.0) -> float:
    """Give how many times as many bags are needed when batches of bags are alike.

    Parameters
    ----------
    bags : float
        Bags in each batch, on average.
    correlation : float
        Intracluster correlation.
    cv : float
        Standard deviation of the batch sizes over their mean.

    Notes
    -----
    Kish (1965), Survey Sampling, section 5.4; unequal batches by Eldridge, Ashby & Kerry (2006),
    Int. J. Epidemiol. 35, 1292-1300.

    Examples
    --------
    >>> design_effect(12, 0.05)
    1.55
    """
    return 1 + ((1 + cv**2) * bags - 1) * correlation


def expected_share_width(
    p1: float, n1: float, p2: float, n2: float | None = None, *, confidence: float = 0.95
) -> float:
    """Give about how wide the interval of a difference of shares will be.

    Parameters
    ----------
    p1, p2 : float
        True shares.
    n1, n2 : float
        Units in the groups; the second as many as the first when not given.
    confidence : float
        Two-sided confidence.

    Notes
    -----
    Newcombe's hybrid score interval (1998), method 10, at the true shares: it keeps a width where
    nothing is lost, as the interval of the analysis does.
    """
    _check(p1, p2)
    z = _point((1 - confidence) / 2)
    m = n1 if n2 is None else n2
    ends = []
    for p, n in ((p1, n1), (p2, m)):
        middle = (n * p + z**2 / 2) / (n + z**2)
        half = z * n / (n + z**2) * math.sqrt(p * (1 - p) / n + z**2 / (4 * n**2))
        ends.append((p - middle + half, middle + half - p))
    (down1, up1), (down2, up2) = ends
    return math.hypot(down1, up2) + math.hypot(up1, down2)
