"""Whether two recipes are the same mix, whatever units they are written in."""

from __future__ import annotations

import math
from collections.abc import Iterator

from trials.measures import GRAMS_IN, WeightUnit
from trials.trial import Ingredient, Recipe, Treatment, Trial

__all__ = ["SAME_AMOUNT", "recipe_differs"]

SAME_AMOUNT = 0.01
"""Amounts that differ by less are the same: rounding from pounds to grams does as much. Common
practice, no source."""


def recipe_differs(
    trial: Trial, treatment: Treatment, reference: Trial, other: Treatment
) -> tuple[str, ...]:
    """Say in what the recipe of a treatment is another one.

    Parameters
    ----------
    trial, reference : Trial
        The grower's plan and the group's.
    treatment, other : Treatment
        The same treatment in each.

    Returns
    -------
    tuple of str
        One part of a sentence a difference; empty for the same mix. Moisture, nitrogen and price
        of an ingredient are a grower's own and not compared.
    """
    mine, ours = _recipe(trial, treatment), _recipe(reference, other)
    if mine is None and ours is None:
        names = [" ".join((one.recipe or "").casefold().split()) for one in (treatment, other)]
        if all(names) and names[0] != names[1]:
            return (f"the recipe is “{treatment.recipe}”, and “{other.recipe}” in the group",)
        return ()
    if mine is None or ours is None:
        where = "here" if mine is None else "in the plan of the group"
        return (f"the recipe is not written out {where}",)
    return tuple(_parts(mine, ours, trial.weights))


def _recipe(trial: Trial, treatment: Treatment) -> Recipe | None:
    return next((one for one in trial.recipes if one.name == treatment.recipe), None)


def _parts(mine: Recipe, ours: Recipe, unit: WeightUnit) -> Iterator[str]:
    yield from _amounts(_weights(mine.ingredients), _weights(ours.ingredients), unit)
    for word in ("water", "spawn"):
        one: Ingredient | None = getattr(mine, word)
        other: Ingredient | None = getattr(ours, word)
        if one is not None and other is not None:
            yield from _amounts({word: one.grams}, {word: other.grams}, unit)
        elif one is not other:
            yield f"{word} is written down {'here only' if other is None else 'in the group only'}"
    targets = mine.moisture_target, ours.moisture_target
    if targets[0] != targets[1]:
        told = ["not given" if one is None else f"{100 * one:.3g} %" for one in targets]
        yield f"the moisture to aim at is {told[0]}, and {told[1]} in the group"


def _weights(ingredients: tuple[Ingredient, ...]) -> dict[str, float]:
    """Add up the grams of each ingredient by its name."""
    found: dict[str, float] = {}
    for one in ingredients:
        name = " ".join(one.name.casefold().split())
        found[name] = found.get(name, 0.0) + one.grams
    return found


def _amounts(mine: dict[str, float], ours: dict[str, float], unit: WeightUnit) -> Iterator[str]:
    for name in dict.fromkeys((*ours, *mine)):
        one, other = mine.get(name), ours.get(name)
        if one is None:
            yield f"there is no {name}"
        elif other is None:
            yield f"{name} is in it, and not in the group's"
        elif not math.isclose(one, other, rel_tol=SAME_AMOUNT):
            yield f"{_told(one, unit)} of {name}, and {_told(other, unit)} in the group"


def _told(grams: float, unit: WeightUnit) -> str:
    return f"{grams / GRAMS_IN[unit]:.4g} {unit}"
