"""Layouts, one file a family; `draw` makes one by lot.

To add a family: write ``draw_<family>(trial, lot)`` in a file of its own, giving a `Place` for
every unit in the order of the places, add it to `FAMILIES`, and say in `randomisation` what it
shuffles among what.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from trials.bag_codes import bag_codes
from trials.designs.complete_blocks import draw_complete_blocks
from trials.designs.completely_random import draw_completely_random
from trials.designs.incomplete_blocks import draw_incomplete_blocks
from trials.designs.latin_square import draw_latin_square
from trials.designs.place import Place
from trials.designs.rows_and_columns import draw_rows_and_columns
from trials.designs.shuffle import Lot
from trials.designs.split_plot import draw_split_plot
from trials.layout import Layout, Randomisation, Slot
from trials.trial import LayoutKind, Trial

__all__ = ["FAMILIES", "draw", "randomisation"]

Family = Callable[[Trial, Lot], list[Place]]

FAMILIES: dict[LayoutKind, Family] = {
    "completely random": draw_completely_random,
    "complete blocks": draw_complete_blocks,
    "latin square": draw_latin_square,
    "rows and columns": draw_rows_and_columns,
    "split plot": draw_split_plot,
    "incomplete blocks": draw_incomplete_blocks,
}

_RANDOMISATIONS: dict[LayoutKind, Randomisation] = {
    "completely random": "units over all places",
    "complete blocks": "units within blocks",
    "latin square": "rows, columns and treatments of a square",
    "rows and columns": "rows, columns and treatments of a table",
    "split plot": "batches within blocks, units within batches",
    "incomplete blocks": "treatments over blocks, units within blocks",
}


def draw(trial: Trial, seed: int | None = None) -> Layout:
    """Draw the layout of a trial by lot.

    Parameters
    ----------
    trial : Trial
        The plan.
    seed : int or None
        The seed, 0 or more; None takes the plan's own.

    Returns
    -------
    Layout
        Every treatment as often as planned in every block; the same for the same plan and seed
        on every machine.

    Examples
    --------
    >>> from trials.starters import starter
    >>> from trials.trial_file import check_trial
    >>> trial = check_trial(starter("yield", folder="okara-or-bran", seed=7))
    >>> layout = draw(trial)
    >>> len(layout.slots), draw(trial) == layout, draw(trial, seed=8) == layout
    (32, True, False)
    """
    chosen = trial.design.seed if seed is None else seed
    lot = Lot(chosen)
    drawn = FAMILIES[trial.design.layout](trial, lot)
    if trial.design.applied_to == "batch":
        drawn = _bags_of_batches(trial, drawn, lot)
    codes = bag_codes(len(drawn), start=lot.below(10**9))
    slots = tuple(
        Slot(
            code=code,
            treatment=place.treatment,
            block=place.block,
            batch=place.batch,
            position=place.position,
            row=place.row,
            column=place.column,
        )
        for code, place in zip(codes, _counted(drawn), strict=True)
    )
    return Layout(slots=slots, seed=chosen, randomisation=randomisation(trial))


def randomisation(trial: Trial) -> Randomisation:
    """Say what the draw of a plan shuffles among what."""
    layout = trial.design.layout
    if trial.design.applied_to == "batch":
        blocked = layout == "complete blocks"
        return "batches within blocks" if blocked else "batches over all places"
    return _RANDOMISATIONS[layout]


def _counted(drawn: list[Place]) -> list[Place]:
    """Give each unit its place within its block, where the family did not."""
    placed, taken = [], dict.fromkeys((one.block for one in drawn), 0)
    for one in drawn:
        taken[one.block] += 1
        placed.append(one if one.position else replace(one, position=taken[one.block]))
    return placed


def _bags_of_batches(trial: Trial, drawn: list[Place], lot: Lot) -> list[Place]:
    """Fill each batch with its bags, and shuffle the bags over the places of their block."""
    by_block: dict[str, list[Place]] = {}
    for number, batch in enumerate(drawn, start=1):
        bags = [replace(batch, batch=f"batch {number}")] * trial.design.bags_per_batch
        by_block.setdefault(batch.block, []).extend(bags)
    return [bag for bags in by_block.values() for bag in lot.shuffled(bags)]
