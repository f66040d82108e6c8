"""The parts beside the findings in ``results.json``: losses, flushes, days, money and more."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from analyses.analysis import Analysis
from analyses.larger_trial import widths
from analyses.layouts.place_trend import place_story
from reports.parts.checklist_items import checklist

__all__ = ["beside_findings"]


def beside_findings(analysis: Analysis) -> dict[str, Any]:
    """Give the parts beside the findings as plain values.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    dict
        Keys batches, naive, loss_pattern, flush_story, worth, times, also, factors, checklist,
        larger and places; None or empty where there is nothing. Weights in grams, shares from 0
        to 1, days since spawning.
    """
    times = []
    for one in analysis.times:
        told = asdict(one)
        told["gap"]["listed"] = [day.date().isoformat() for day in one.gap.listed]
        times.append(told)
    return {
        "batches": [asdict(one) for one in analysis.batches],
        "naive": [asdict(one) for one in analysis.naive],
        "loss_pattern": None if analysis.loss_pattern is None else asdict(analysis.loss_pattern),
        "flush_story": None if analysis.story is None else asdict(analysis.story),
        "worth": None if analysis.worth is None else asdict(analysis.worth),
        "times": times,
        "also": [asdict(one) for one in analysis.also],
        "factors": [asdict(one) for one in analysis.factor_effects],
        "checklist": [asdict(one) for one in checklist(analysis)],
        "larger": _larger(analysis),
        "places": [asdict(one) for one in place_story(analysis.records, analysis.unit).trends],
    }


def _larger(analysis: Analysis) -> list[dict[str, Any]]:
    """Give the widths of the first planned comparison that has any."""
    for finding in analysis.findings:
        told = widths(finding, analysis.records.trial) if finding.planned else ()
        if told:
            return [{"finding": finding.id} | asdict(one) for one in told]
    return []
