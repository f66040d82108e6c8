"""Layouts, one file a family; `draw` makes one by lot.

To add a family: write ``draw_<family>(trial, lot)`` in a file of its own, giving block and
treatment of every unit in the order of the places, and add it to `FAMILIES`.
"""

from __future__ import annotations

from collections.abc import Callable

from trials.bag_codes import bag_codes
from trials.designs.complete_blocks import draw_complete_blocks
from trials.designs.completely_random import draw_completely_random
from trials.designs.shuffle import Lot
from trials.layout import Layout, Randomisation, Slot
from trials.problems import Refused, one_of
from trials.trial import LayoutKind, Trial

__all__ = ["FAMILIES", "draw", "randomisation"]

Family = Callable[[Trial, Lot], list[tuple[str, str]]]

FAMILIES: dict[LayoutKind, Family] = {
    "completely random": draw_completely_random,
    "complete blocks": draw_complete_blocks,
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

    Raises
    ------
    Refused
        A family of layouts that cannot be drawn yet.
    """
    family = FAMILIES.get(trial.design.layout)
    if family is None:
        raise Refused(
            f"The layout “{trial.design.layout}” cannot be drawn by this version. "
            f"It draws {one_of(FAMILIES)}."
        )
    chosen = trial.design.seed if seed is None else seed
    lot = Lot(chosen)
    drawn = family(trial, lot)
    placed = _bags_of_batches(trial, drawn, lot) if _by_batch(trial) else _bags(drawn)
    codes = bag_codes(len(placed), start=lot.below(10**9))
    slots = tuple(
        Slot(code=code, treatment=treatment, block=block, batch=batch, position=position)
        for code, (treatment, block, batch, position) in zip(codes, placed, strict=True)
    )
    return Layout(slots=slots, seed=chosen, randomisation=randomisation(trial))


def randomisation(trial: Trial) -> Randomisation:
    """Say what the draw of a plan shuffles among what."""
    if trial.design.layout == "completely random":
        return "batches over all places" if _by_batch(trial) else "units over all places"
    return "batches within blocks" if _by_batch(trial) else "units within blocks"


def _by_batch(trial: Trial) -> bool:
    return trial.design.applied_to == "batch"


def _bags(drawn: list[tuple[str, str]]) -> list[tuple[str, str, str, int]]:
    """Give each unit its place within its block."""
    placed, taken = [], dict.fromkeys((block for block, _ in drawn), 0)
    for block, treatment in drawn:
        taken[block] += 1
        placed.append((treatment, block, "", taken[block]))
    return placed


def _bags_of_batches(
    trial: Trial, drawn: list[tuple[str, str]], lot: Lot
) -> list[tuple[str, str, str, int]]:
    """Fill each batch with its bags, and shuffle the bags over the places of their block."""
    by_block: dict[str, list[tuple[str, str]]] = {}
    for number, (block, treatment) in enumerate(drawn, start=1):
        bags = [(treatment, f"batch {number}")] * trial.design.bags_per_batch
        by_block.setdefault(block, []).extend(bags)
    return [
        (treatment, block, batch, position)
        for block, bags in by_block.items()
        for position, (treatment, batch) in enumerate(lot.shuffled(bags), start=1)
    ]
