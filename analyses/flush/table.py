"""Yield by flush: the plain table, before any model."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from trials.records import Records

__all__ = ["FlushRow", "flush_rows", "shares_and_ratios"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FlushRow:
    """One treatment in one flush.

    Parameters
    ----------
    treatment : str
        Its code.
    flush : int
        From 1.
    bags : int
        Units weighed in this flush.
    mean_g, sd_g : float
        Grams per unit weighed, zeros in; NaN where there is none.
    share : float
        Share of the treatment's weighed total, 0 to 1.
    kept : float
        This flush as a share of the one before; NaN for the first.
    """

    treatment: str
    flush: int
    bags: int
    mean_g: float
    sd_g: float
    share: float
    kept: float


def flush_rows(records: Records) -> tuple[FlushRow, ...]:
    """Give mean, spread, share and ratio of each flush of each treatment.

    Parameters
    ----------
    records : Records
        Only weighed flushes count; 0 g is weighed.

    Returns
    -------
    tuple of FlushRow
        Every treatment and planned flush.
    """
    weighed = records.flushes[records.flushes["state"] == "weighed"]
    rows = []
    for one in records.trial.treatments:
        mine = weighed[weighed["treatment"] == one.code]
        grams = {
            flush: mine.loc[mine["flush"] == flush, "grams"]
            for flush in range(1, records.trial.flushes + 1)
        }
        means = {flush: float(got.mean()) if len(got) else math.nan for flush, got in grams.items()}
        totals = {flush: float(got.sum()) for flush, got in grams.items()}
        shares, kept = shares_and_ratios(list(means.values()), totals)
        rows += [
            FlushRow(
                treatment=one.code,
                flush=flush,
                bags=len(got),
                mean_g=means[flush],
                sd_g=float(got.std(ddof=1)) if len(got) > 1 else math.nan,
                share=shares[flush],
                kept=kept[place],
            )
            for place, (flush, got) in enumerate(grams.items())
        ]
    return tuple(rows)


def shares_and_ratios(
    means: Sequence[float], totals: Mapping[int, float]
) -> tuple[dict[int, float], list[float]]:
    """Give each flush's share of the total, and each mean over the one before.

    Parameters
    ----------
    means : sequence of float
        Mean of each flush, in order.
    totals : mapping of int to float
        Total of each flush.

    Returns
    -------
    shares : dict of int to float
        By flush; NaN where the total is 0.
    kept : list of float
        NaN for the first flush and after a flush of 0.

    Examples
    --------
    >>> shares, kept = shares_and_ratios([40.0, 20.0], {1: 400.0, 2: 100.0})
    >>> shares, kept[1]
    ({1: 0.8, 2: 0.2}, 0.5)
    """
    whole = math.fsum(totals.values())
    shares = {flush: got / whole if whole else math.nan for flush, got in totals.items()}
    kept = [math.nan]
    for before, after in pairwise(means):
        kept.append(after / before if before and before > 0 else math.nan)
    return shares, kept
