"""Completely random: all units shuffled over all places.

Fisher (1935), The Design of Experiments, section 20.
"""

from __future__ import annotations

from trials.designs.place import Place, codes_of_block
from trials.designs.shuffle import Lot
from trials.trial import Trial

__all__ = ["draw_completely_random"]


def draw_completely_random(trial: Trial, lot: Lot) -> list[Place]:
    """Draw the treatment of each unit.

    Parameters
    ----------
    trial : Trial
        Its design holds the units per treatment.
    lot : Lot
        The source of randomness.

    Returns
    -------
    list of Place
        Treatment codes without blocks, in the order of the places.
    """
    return [Place(treatment=code) for code in lot.shuffled(codes_of_block(trial))]
