"""Incomplete blocks: shelves that cannot hold every treatment, or hold unequally many units.

Yates (1936), Annals of Eugenics 7, 121-140. Which treatments share a block is found by
`trials.designs.block_search`; by lot are then drawn which treatment plays which part in it (among
those with equally many units), which block is which (among those of equal size), and the place of
each unit in its block.
"""

from __future__ import annotations

from collections.abc import Sequence

from trials.designs.block_search import search_blocks
from trials.designs.place import Place
from trials.designs.shuffle import Lot
from trials.trial import Trial

__all__ = ["draw_incomplete_blocks"]


def draw_incomplete_blocks(trial: Trial, lot: Lot) -> list[Place]:
    """Draw the treatments of each block and their places in it.

    Parameters
    ----------
    trial : Trial
        Its design holds the places of each block.
    lot : Lot
        The source of randomness.

    Returns
    -------
    list of Place
        Block after block.
    """
    design = trial.design
    replicates = [
        design.units_per_treatment + design.extra_control_units * one.control
        for one in trial.treatments
    ]
    counts = search_blocks(design.places, replicates, lot)
    parts, blocks = _shuffled_alike(replicates, lot), _shuffled_alike(design.places, lot)
    places = []
    for name, block in zip(design.block_names, blocks, strict=True):
        codes = [
            one.code
            for one, part in zip(trial.treatments, parts, strict=True)
            for _ in range(int(counts[part, block]))
        ]
        places += [Place(treatment=code, block=name) for code in lot.shuffled(codes)]
    return places


def _shuffled_alike(values: Sequence[int], lot: Lot) -> list[int]:
    """Shuffle positions among those that hold equal values."""
    order = list(range(len(values)))
    for value in dict.fromkeys(values):
        alike = [at for at in range(len(values)) if values[at] == value]
        for at, other in zip(alike, lot.shuffled(alike), strict=True):
            order[at] = other
    return order
