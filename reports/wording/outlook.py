"""What a finding means for the next hundred units."""

from __future__ import annotations

import math

from analyses.finding import Finding
from reports.wording.grammar import plural
from reports.wording.names import unit_word
from reports.wording.numbers import Measure, measure, round_span
from reports.wording.speech import set_scene
from trials.measures import WeightUnit
from trials.trial import Trial

__all__ = ["in_efficiency", "next_hundred"]

_HUNDRED = 100
_HEAVIER: dict[WeightUnit, WeightUnit] = {"g": "kg", "oz": "lb", "kg": "kg", "lb": "lb"}


def next_hundred(finding: Finding, trial: Trial) -> str:
    """Say what a hundred units more of the treatment would bring, if they are like these.

    Parameters
    ----------
    finding : Finding
        A finding about yield or losses.
    trial : Trial
        The plan.

    Returns
    -------
    str
        Empty where nothing can be said.
    """
    estimate = finding.estimate
    limits = (estimate.value, estimate.low, estimate.high)
    if finding.verdict == "withheld" or not all(math.isfinite(limit) for limit in limits):
        return ""
    units = plural(unit_word(trial))
    scene = set_scene(finding, trial)
    opening = f"A hundred {units} with {scene.it}, set beside a hundred with {scene.control}"
    if estimate.outcome == "yield" and estimate.unit == "g":
        told = _weight_range(limits, measure("g", _HEAVIER[trial.weights]))
        return f"{opening}: {told}. That is if the next ones are like these."
    if estimate.outcome == "contamination":
        low, high = round(estimate.low), round(estimate.high)
        if low >= 0:
            told = f"{low} to {high} more lost"
        elif high <= 0:
            told = f"{-high} to {-low} fewer lost"
        else:
            told = f"anything from {-low} fewer to {high} more lost"
        return f"{opening}: {told}. That is if the next ones are like these."
    return ""


def in_efficiency(finding: Finding, trial: Trial) -> str:
    """Say a difference in points of biological efficiency.

    Parameters
    ----------
    finding : Finding
        A finding about yield.
    trial : Trial
        The plan.

    Returns
    -------
    str
        Empty where the dry weights are not known.
    """
    found = finding.estimate.efficiency
    if found is None or not all(math.isfinite(one) for one in (found.value, found.low, found.high)):
        return ""
    scene = set_scene(finding, trial)
    span = round_span(found.value, found.low, found.high, marks=(0.0,))
    low, high = (span.write(limit) for limit in (span.low, span.high))
    if span.low >= 0:
        told = f"between {low} and {high} points more"
    elif span.high <= 0:
        told = f"between {high} and {low} points less"
    else:
        told = f"anything from {low} points less to {high} points more"
    return f"In biological efficiency, {scene.it} against {scene.control}: {told} fits."


def _weight_range(limits: tuple[float, float, float], heavy: Measure) -> str:
    span = round_span(*(limit * _HUNDRED / heavy.per for limit in limits), marks=(0.0,))
    low, high = (heavy.say(limit, span.step) for limit in (span.low, span.high))
    if span.low >= 0:
        return f"about {heavy.say(span.value, span.step)} more (between {low} and {high})"
    if span.high <= 0:
        return f"about {heavy.say(span.value, span.step)} less (between {high} and {low})"
    return f"anything from {low} less to {high} more"
