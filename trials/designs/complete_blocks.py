"""Complete blocks: every treatment equally often in every block, shuffled within it.

Fisher (1935), The Design of Experiments, section 21.
"""

from __future__ import annotations

from trials.designs.shuffle import Lot
from trials.trial import Trial

__all__ = ["draw_complete_blocks"]


def draw_complete_blocks(trial: Trial, lot: Lot) -> list[tuple[str, str]]:
    """Draw the treatment of each unit, block after block.

    Parameters
    ----------
    trial : Trial
        Its design holds the block, the number of blocks and the units per treatment.
    lot : Lot
        The source of randomness.

    Returns
    -------
    list of (str, str)
        Block name and treatment code, in the order of the places.
    """
    design = trial.design
    codes = [one.code for one in trial.treatments for _ in range(design.units_per_treatment)]
    return [
        (f"{design.block} {number}", code)
        for number in range(1, design.blocks + 1)
        for code in lot.shuffled(codes)
    ]
