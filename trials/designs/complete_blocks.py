"""Complete blocks: every treatment equally often in every block, shuffled within it.

Fisher (1935), The Design of Experiments, section 21.
"""

from __future__ import annotations

from trials.designs.place import Place, codes_of_block
from trials.designs.shuffle import Lot
from trials.trial import Trial

__all__ = ["draw_complete_blocks"]


def draw_complete_blocks(trial: Trial, lot: Lot) -> list[Place]:
    """Draw the treatment of each unit, block after block.

    Parameters
    ----------
    trial : Trial
        Its design holds the block, the number of blocks and the units per treatment.
    lot : Lot
        The source of randomness.

    Returns
    -------
    list of Place
        Block name and treatment code, in the order of the places.
    """
    codes = codes_of_block(trial)
    return [
        Place(treatment=code, block=name)
        for name in trial.design.block_names
        for code in lot.shuffled(codes)
    ]
