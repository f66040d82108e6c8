"""Power and width for losses where whole batches are treated."""

from __future__ import annotations

import math

from trials.sizes import Precision
from trials.sizing.mean_sizes import expected_width, power_better, power_no_worse
from trials.sizing.share_sizes import design_effect, restricted_shares

__all__ = ["expected_batch_width", "power_batches_differ", "power_batches_no_worse"]


def _batches(
    p1: float, p2: float, batches: float, bags: float, correlation: float
) -> tuple[float, Precision]:
    """Give the standard deviation of batch shares (root mean square of the groups) and its df."""
    for share in (p1, p2):
        if not 0 <= share <= 1:
            raise ValueError(f"a share lies between 0 and 1, got {share}")
    unit = (p1 * (1 - p1) + p2 * (1 - p2)) / 2
    sd = math.sqrt(unit * design_effect(bags, correlation) / bags)
    return sd, Precision(factor=2 / batches, df=2 * batches - 2)


def power_batches_differ(
    p1: float,
    p2: float,
    batches: float,
    bags: float,
    correlation: float,
    *,
    confidence: float = 0.95,
    sides: int = 2,
) -> float:
    """Give the chance of finding a difference when whole batches receive a treatment.

    Parameters
    ----------
    p1, p2 : float
        True shares lost.
    batches : float
        Batches of each treatment.
    bags : float
        Bags in each batch.
    correlation : float
        Intracluster correlation of the bags of a batch.
    confidence : float
        Of the interval that judges.
    sides : {1, 2}
        One- or two-sided.

    Notes
    -----
    The t test of batch shares (Donner & Klar 2000, Design and Analysis of Cluster Randomization
    Trials, section 5.2), by the non-central t on batches less two.
    """
    sd, precision = _batches(p1, p2, batches, bags, correlation)
    if sd == 0:
        return 1.0 if p1 != p2 else 0.0
    return power_better(abs(p1 - p2), sd, precision, confidence=confidence, sides=sides)


def power_batches_no_worse(
    p1: float,
    p2: float,
    batches: float,
    bags: float,
    correlation: float,
    *,
    margin: float,
    confidence: float = 0.95,
) -> float:
    """Give the chance of showing that whole batches lose no more than a margin above others.

    Parameters
    ----------
    p1, p2 : float
        True shares lost, of the new treatment and of the old.
    batches : float
        Batches of each treatment.
    bags : float
        Bags in each batch.
    correlation : float
        Intracluster correlation of the bags of a batch.
    margin : float
        How much more could still be lost, above 0.
    confidence : float
        Of the one-sided bound that judges.

    Notes
    -----
    The score test with the batches' dispersion that the analysis holds the range to: the variance
    of a share goes with p (1 - p), so the standard error under the margin is that of the shares
    restricted to it (Farrington & Manning 1990, Statist. Med. 9, 1447-1454) with the design effect.
    Held against simulation in tests/calibration/RESULTS.md.
    """
    sd, precision = _batches(p1, p2, batches, bags, correlation)
    if sd == 0:
        return 1.0 if p1 - p2 < margin else 0.0
    r1, r2 = restricted_shares(p1, p2, 1.0, margin)
    stretch = math.sqrt((r1 * (1 - r1) + r2 * (1 - r2)) / (p1 * (1 - p1) + p2 * (1 - p2)))
    return power_no_worse(
        p2 - p1, margin, sd, precision, confidence=confidence, stretch=max(stretch, 1.0)
    )


def expected_batch_width(
    share: float, batches: float, bags: float, correlation: float, *, confidence: float = 0.95
) -> float:
    """Give about how wide the interval of a difference of equal shares of batches will be.

    Parameters
    ----------
    share : float
        Lost on both sides.
    batches, bags : float
        Of each treatment; in each batch.
    correlation : float
        Intracluster correlation of the bags of a batch.
    confidence : float
        Two-sided confidence.

    Notes
    -----
    Twice the difference d at which d is the expected reach of the t times the root of the variance
    under d over that at the share: the limits of the score test with the batches' dispersion (see
    `power_batches_no_worse`). Found by halving.
    """
    sd, precision = _batches(share, share, batches, bags, correlation)
    reach, seen = expected_width(sd, precision, confidence) / 2, 2 * share * (1 - share)
    if reach == 0:
        return 0.0
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        r1, r2 = restricted_shares(share, share, 1.0, middle)
        short = middle < reach * math.sqrt(max((r1 * (1 - r1) + r2 * (1 - r2)) / seen, 1.0))
        low, high = (middle, high) if short else (low, middle)
    return 2 * high
