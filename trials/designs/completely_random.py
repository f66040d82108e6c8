"""Completely random: all units shuffled over all places.

Fisher (1935), The Design of Experiments, section 20.
"""

from __future__ import annotations

from trials.designs.shuffle import Lot
from trials.trial import Trial

__all__ = ["draw_completely_random"]


def draw_completely_random(trial: Trial, lot: Lot) -> list[tuple[str, str]]:
    """Draw the treatment of each unit.

    Parameters
    ----------
    trial : Trial
        Its design holds the units per treatment.
    lot : Lot
        The source of randomness.

    Returns
    -------
    list of (str, str)
        An empty block name and the treatment code, in the order of the places.
    """
    per_treatment = range(trial.design.units_per_treatment)
    codes = [one.code for one in trial.treatments for _ in per_treatment]
    return [("", code) for code in lot.shuffled(codes)]
