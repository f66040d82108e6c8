"""Differences from the control out of one fit, as they are or as shares."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyses.comparison import DF_METHOD
from analyses.estimate import Span
from analyses.models.contrasts import infer
from analyses.models.families.fieller import fieller
from analyses.models.families.multiplicity import largest_t
from analyses.models.linear.arrays import Array
from analyses.models.linear.student import t_quantile, t_two_sided
from analyses.models.mixed import MixedFit
from analyses.pooling.rows import Scale

__all__ = ["Differences", "differences", "log_ratio", "percents"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Differences:
    """What a fit says of each treatment, the control first, and of the differences from it.

    Parameters
    ----------
    means, mean_low, mean_high : array, shape (treatments,)
        In the unit of the outcome.
    value, se, df, low, high, low_alone, high_alone, p : array, shape (treatments - 1,)
        The differences; low, high and p hold for all of them together.
    """

    means: Array
    mean_low: Array
    mean_high: Array
    value: Array
    se: Array
    df: Array
    low: Array
    high: Array
    low_alone: Array
    high_alone: Array
    p: Array


def differences(fit: MixedFit, codes: Sequence[str], scale: Scale, level: float) -> Differences:
    """Compare treatments with the control.

    Parameters
    ----------
    fit : MixedFit
        With the fixed part ``treatment``.
    codes : sequence of str
        The control first.
    scale : {"plain", "share"}
        With shares, exp of the mean times 100; differences have the error of their linear form
        (delta method).
    level : float
        Confidence.

    Notes
    -----
    Kenward & Roger (1997), Biometrics 53, 983-997; several treatments jointly by the exact
    multivariate t against the control.
    """
    rows = fit.basis.rows({"treatment": list(codes)})
    means = rows @ fit.coefficients
    if scale == "share":
        means = 100 * np.exp(means)
        rows = means[:, None] * rows
    contrast = rows[1:] - rows[0]
    names = list(codes)
    each = infer(fit, rows, names, df=DF_METHOD, confidence=level)
    alone = infer(fit, contrast, names[1:], df=DF_METHOD, confidence=level)
    value = means[1:] - means[0]
    t, reach = value / alone.se, t_quantile((1 + level) / 2, alone.df)
    p, wide = t_two_sided(t, alone.df), reach
    if len(value) > 1:
        joint = largest_t(contrast @ fit.covariance_under(DF_METHOD) @ contrast.T)
        p, wide = joint.p(t, alone.df)[0], joint.critical(alone.df, level)
    half = t_quantile((1 + level) / 2, each.df) * each.se
    return Differences(
        means=means, mean_low=means - half, mean_high=means + half, value=value, se=alone.se,
        df=alone.df, low=value - wide * alone.se, high=value + wide * alone.se,
        low_alone=value - reach * alone.se, high_alone=value + reach * alone.se, p=p,
    )  # fmt: skip


def percents(
    fit: MixedFit, codes: Sequence[str], scale: Scale, level: float
) -> tuple[Span | None, ...]:
    """Give each difference in per cent of the control, by the ratio of the two means.

    Parameters
    ----------
    fit, codes, scale, level
        As in `differences`.

    Returns
    -------
    tuple of Span or None
        Fieller's interval (1954); of shares, that of the difference of their logarithms. None
        where the control is not told from nothing.
    """
    rows = fit.basis.rows({"treatment": list(codes)})
    found: list[Span | None] = []
    for row in rows[1:]:
        if scale == "share":
            log = infer(fit, (row - rows[0])[None], ["ratio"], df=DF_METHOD, confidence=level)
            value, low, high = (
                float(100 * np.expm1(part[0])) for part in (log.estimate, log.low, log.high)
            )
            found.append(Span(value=value, low=low, high=high, unit="%"))
            continue
        ratio = fieller(fit, row, rows[0], df=DF_METHOD, level=level)
        told = Span(
            value=100 * (ratio.value - 1), low=100 * (ratio.low - 1), high=100 * (ratio.high - 1),
            unit="%",
        )  # fmt: skip
        found.append(told if ratio.bounded else None)
    return tuple(found)


def log_ratio(fit: MixedFit, codes: Sequence[str], scale: Scale) -> tuple[float, float]:
    """Give the logarithm of treatment over control, and its variance.

    Parameters
    ----------
    fit : MixedFit
    codes : sequence of str
        Control and treatment.
    scale : {"plain", "share"}

    Returns
    -------
    tuple of float
        NaN where a mean is not above nothing.

    Notes
    -----
    The log response ratio of Hedges, Gurevitch & Curtis (1999), Ecology 80, 1150-1156.
    """
    rows = fit.basis.rows({"treatment": list(codes)})
    means = rows @ fit.coefficients
    if scale == "plain":
        if not (means > 0).all():
            return float("nan"), float("nan")
        rows, means = rows / means[:, None], np.log(means)
    contrast = rows[1] - rows[0]
    variance = contrast @ fit.covariance_under(DF_METHOD) @ contrast
    return float(means[1] - means[0]), float(variance)
