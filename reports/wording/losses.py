"""Losses in words: how many of how many, on which side, and what could still be."""

from __future__ import annotations

import math

from analyses.analysis import Analysis
from analyses.losses.counts import LossCount
from reports.wording.grammar import be, counted, listed, plural
from reports.wording.names import treatment_names, unit_word

__all__ = [
    "gone_otherwise",
    "has_range",
    "loss_line",
    "losses_total",
    "not_ended",
    "unknown_totals",
]


def loss_line(loss: LossCount, name: str, unit: str, *, hit: int = 0) -> str:
    """Say what one treatment lost, with its range.

    Parameters
    ----------
    loss : LossCount
        Lost of made; limits that are not numbers are not told.
    name, unit : str
        Of the treatment, and the grower's word for a bag.
    hit : int
        Batches that lost any, where batches count.

    Returns
    -------
    str
        “None of 40 bags with straw was lost; up to 9 in a hundred could still be, with luck
        like this.” Limits are rounded outwards.
    """
    if loss.made == 0:
        return f"No {unit} with {name} has a known fate."
    made = counted(loss.made, unit)
    if loss.made == 1 and has_range(loss):
        return _only_one(loss, name, unit)
    if loss.batches:
        made += f" from {counted(loss.batches, 'batch')}"
    if not has_range(loss):
        return f"{loss.lost or 'None'} of {made} with {name} {be(loss.lost)} lost."
    low, high = math.floor(100 * loss.low), math.ceil(100 * loss.high)
    if loss.lost == 0:
        return (
            f"None of {made} with {name} was lost; up to {high} in a hundred could still be, "
            "with luck like this."
        )
    if loss.lost == loss.made:
        return (
            f"All {made} with {name} were lost; with luck like this it could be as few as "
            f"{low} in a hundred."
        )
    fits = f"between {low} and {high} in a hundred fits"
    if low == 0:
        fits = f"anything up to {high} in a hundred fits"
    elif high == 100:
        fits = f"anything from {low} in a hundred upwards fits"
    told = f"{loss.lost} of {made} with {name} {be(loss.lost)} lost: {fits}."
    if loss.batches > 1 and hit == 1:
        told += " Only one batch was hit, which cannot show how bad a bad one gets: a wide range."
    return told


def _only_one(loss: LossCount, name: str, unit: str) -> str:
    if loss.lost:
        low = math.floor(100 * loss.low)
        return (
            f"The one {unit} with {name} was lost; with luck like this it could be as few as "
            f"{low} in a hundred."
        )
    high = math.ceil(100 * loss.high)
    return (
        f"The one {unit} with {name} was not lost; up to {high} in a hundred could still be, with "
        "luck like this."
    )


def has_range(loss: LossCount) -> bool:
    """Tell whether a count has a range that may be told.

    Parameters
    ----------
    loss : LossCount
        Where nothing shows how much batches differ its limits are not numbers.
    """
    return math.isfinite(loss.low) and math.isfinite(loss.high)


def losses_total(analysis: Analysis) -> str:
    """Say how many units were lost to contamination in all, and with which treatment.

    Parameters
    ----------
    analysis : Analysis
        Losses by treatment.

    Returns
    -------
    str
        “3 bags were lost to contamination: 1 with bran and 2 with okara.”
    """
    told = _lost_with(analysis, [(one.treatment, one.lost) for one in analysis.losses],
                      "lost to contamination")  # fmt: skip
    return told or f"No {unit_word(analysis.records.trial)} was lost to contamination."


def _lost_with(analysis: Analysis, sides: list[tuple[str, int]], how: str) -> str:
    """Say how many units were lost in a way, and with which treatment; empty where none was."""
    trial = analysis.records.trial
    names = treatment_names(trial)
    some = [(names[code], lost) for code, lost in sides if lost]
    total = sum(lost for _, lost in some)
    if not total:
        return ""
    told = f"{counted(total, unit_word(trial))} {be(total)} {how}"
    if len(some) == 1:
        return f"{told}, {'' if total == 1 else 'all of them '}with {some[0][0]}."
    return f"{told}: {listed(f'{lost} with {name}' for name, lost in some)}."


def gone_otherwise(analysis: Analysis) -> str:
    """Say how many units were lost in other ways, and with which treatment.

    Parameters
    ----------
    analysis : Analysis
        With its flow.

    Returns
    -------
    str
        Empty where there are none: “2 bags were lost in another way: 1 with bran and 1 with okara.”
    """
    sides = [(one.treatment, one.lost_otherwise) for one in analysis.flow]
    return _lost_with(analysis, sides, "lost in another way")


def not_ended(analysis: Analysis) -> str:
    """Say how many units are not done or were never written down.

    Parameters
    ----------
    analysis : Analysis
        With its flow.

    Returns
    -------
    str
        Empty where there are none.
    """
    unit = unit_word(analysis.records.trial)
    counts = (
        (sum(step.still_going for step in analysis.flow), "still going"),
        (sum(step.not_recorded for step in analysis.flow), "not written down"),
    )
    said = [f"{counted(number, unit)} {be(number)} {what}" for number, what in counts if number]
    return f"{listed(said)}." if said else ""


def unknown_totals(analysis: Analysis) -> str:
    """Say of how many units a flush was not written down.

    Parameters
    ----------
    analysis : Analysis
        With its flow.

    Returns
    -------
    str
        Empty where every total is known.
    """
    unit = unit_word(analysis.records.trial)
    number = sum(step.incomplete for step in analysis.flow)
    if not number:
        return ""
    if number == 1:
        return (
            f"For 1 {unit} a weight was not written down. A blank is not nought, so its total is "
            "unknown and it is left out."
        )
    return (
        f"For {number} {plural(unit)} a weight was not written down. A blank is not nought, so "
        "their totals are unknown and they are left out."
    )
