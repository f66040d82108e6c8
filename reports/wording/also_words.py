"""Fruit bodies, picking time and biological efficiency in words: a short sentence each."""

from __future__ import annotations

import math
from dataclasses import replace

from analyses.also_measured import AlsoMeasured
from analyses.analysis import Analysis
from reports.wording.names import treatment_names, unit_word
from reports.wording.numbers import Measure, measure, round_span
from trials.trial import Trial

__all__ = ["also_lines", "also_opening"]

_POUND_KG = 0.45359237


def also_opening(analysis: Analysis) -> str:
    """Say that what follows was looked at afterwards; empty where there is nothing.

    Parameters
    ----------
    analysis : Analysis
    """
    if not analysis.also:
        return ""
    return "Also written down, and looked at afterwards; treat each as a hint for the next trial:"


def also_lines(analysis: Analysis) -> tuple[str, ...]:
    """Say each measure that was written down beside the weights, with its range.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    tuple of str
        “Fruit bodies per bag: about 24 with okara, 18 with bran; between 2 and 9 more fits.”
    """
    trial = analysis.records.trial
    names = treatment_names(trial)
    return tuple(
        _line(one, names[one.treatment], names[one.control], trial) for one in analysis.also
    )


def _line(one: AlsoMeasured, name: str, control: str, trial: Trial) -> str:
    opening, unit = _spoken(one, trial)
    if one.withheld or not math.isfinite(one.low + one.high):
        reason = one.withheld or "nothing shows how much they differ by chance"
        return f"{opening}: {name} cannot be compared with {control}; {reason}."
    span = round_span(
        *(each / unit.per for each in (one.value, one.low, one.high)), finest=unit.finest,
        marks=(0.0,),
    )  # fmt: skip
    mine, base = (unit.say(mean / unit.per, span.step) for mean in (one.mean, one.control_mean))
    bounds = unit if unit.word != "%" else replace(unit, word="points")
    low, high = (bounds.say(end, span.step) for end in (span.low, span.high))
    fewer = "fewer" if one.measure == "fruit bodies" else "less"
    if span.low >= 0:
        told = f"between {low} and {high} more"
    elif span.high <= 0:
        told = f"between {high} and {low} {fewer}"
    else:
        told = f"anything from {low} {fewer} to {high} more"
    return f"{opening}: about {mine} with {name}, {base} with {control}; {told} fits."


def _spoken(one: AlsoMeasured, trial: Trial) -> tuple[str, Measure]:
    """Give what a measure is called and the unit it is said in."""
    if one.measure == "fruit bodies":
        return f"Fruit bodies per {unit_word(trial)}", Measure(per=1.0, word="", finest=1.0)
    if one.measure == "weight of a body":
        return "Weight of one fruit body", measure("g", trial.weights)
    if one.measure == "biological efficiency":
        opening = "Biological efficiency, fresh weight as a share of the dry substrate"
        return opening, Measure(per=1.0, word="%", finest=1.0)
    if trial.weights in ("oz", "lb"):
        return "Minutes of picking per pound", Measure(per=1 / _POUND_KG, word="", finest=0.1)
    return "Minutes of picking per kilogram", Measure(per=1.0, word="", finest=0.1)
