"""The machine's form of flushes, days, money and side measures, for ``results.json``."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from analyses.analysis import Analysis

__all__ = ["more_results"]


def more_results(analysis: Analysis) -> dict[str, Any]:
    """Give the parts beside the findings as plain values.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    dict
        Keys flush_story, worth, times, also and factors; None or empty where there is nothing.
        Weights in grams, shares from 0 to 1, days since spawning.
    """
    times = []
    for one in analysis.times:
        told = asdict(one)
        told["gap"]["listed"] = [day.date().isoformat() for day in one.gap.listed]
        times.append(told)
    return {
        "flush_story": None if analysis.story is None else asdict(analysis.story),
        "worth": None if analysis.worth is None else asdict(analysis.worth),
        "times": times,
        "also": [asdict(one) for one in analysis.also],
        "factors": [asdict(one) for one in analysis.factor_effects],
    }
