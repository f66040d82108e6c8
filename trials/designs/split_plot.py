"""Split plot: one factor given to whole batches, the others to the bags of each batch.

Every block holds one batch for each level of the batch factor; every batch holds all combinations
of the other factors equally often. Yates (1935), J. R. Stat. Soc. Suppl. 2, 181-247.
"""

from __future__ import annotations

from trials.designs.place import Place
from trials.designs.shuffle import Lot
from trials.trial import Trial

__all__ = ["draw_split_plot"]


def draw_split_plot(trial: Trial, lot: Lot) -> list[Place]:
    """Draw which batch gets which level, and which bag of it gets which combination.

    Parameters
    ----------
    trial : Trial
        Its treatments are every combination of their factors.
    lot : Lot
        The source of randomness.

    Returns
    -------
    list of Place
        Block after block. Batches are numbered in the order in which they are made; the bags of
        all batches of a block stand mixed on its places, so that a batch has no corner of its own.
    """
    design = trial.design
    factor = design.batch_factor
    places, batches = [], 0
    for block in design.block_names:
        bags: list[tuple[str, str]] = []
        for level in lot.shuffled(trial.levels(factor)):
            batches += 1
            own = [one.code for one in trial.treatments if one.level(factor) == level]
            bags += [(code, f"batch {batches}") for code in own * design.units_per_treatment]
        places += [
            Place(treatment=code, block=block, batch=batch) for code, batch in lot.shuffled(bags)
        ]
    return places
