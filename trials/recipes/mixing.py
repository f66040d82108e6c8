"""What to weigh out for a whole trial: each recipe for its bags, with spare, load by load."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from trials.recipes.mixture import Mixture, mixture
from trials.trial import Ingredient, Recipe, Treatment, Trial

__all__ = ["SPARE", "Batching", "MixList", "bags_of", "mix_lists"]

SPARE = 0.10
"""Mixed beyond what the bags take, for what sticks and spills. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Batching:
    """How the bags of a recipe are shared out over loads.

    Parameters
    ----------
    bags : int
        Bags of the recipe in the whole trial.
    loads : int
        How often it is mixed.
    bags_per_load : int
        Bags of the largest load.
    """

    bags: int
    loads: int
    bags_per_load: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MixList:
    """One recipe for the whole trial.

    Parameters
    ----------
    recipe : str
        Its name in the plan.
    treatments : tuple of Treatment
        Those that use it.
    batching : Batching
    per_bag : Mixture
        What one bag comes to.
    load : tuple of Ingredient
        Ingredients of the largest load with spare, in the grower's units.
    whole : tuple of Ingredient
        The same for all loads together.
    water_load_g, water_whole_g : float
        Water for one load and for all, with spare.
    spawn_bag : Ingredient or None
        Spawn of one bag.
    spawn_whole : Ingredient or None
        Spawn for all bags, with spare.
    """

    recipe: str
    treatments: tuple[Treatment, ...]
    batching: Batching
    per_bag: Mixture
    load: tuple[Ingredient, ...]
    whole: tuple[Ingredient, ...]
    water_load_g: float
    water_whole_g: float
    spawn_bag: Ingredient | None
    spawn_whole: Ingredient | None


def mix_lists(trial: Trial) -> tuple[MixList, ...]:
    """Give what to weigh out, recipe by recipe.

    Parameters
    ----------
    trial : Trial

    Returns
    -------
    tuple of MixList
        Recipes without ingredients, and those that no treatment uses, are left out.
    """
    lists = []
    for recipe in trial.recipes:
        users = tuple(one for one in trial.treatments if one.recipe == recipe.name)
        worked_out = mixture(recipe)
        if users and worked_out is not None:
            lists.append(_list(trial, recipe, users, worked_out))
    return tuple(lists)


def bags_of(trial: Trial, treatment: Treatment) -> int:
    """Count the bags of one treatment in the whole trial.

    Parameters
    ----------
    trial : Trial
    treatment : Treatment
    """
    design = trial.design
    times = 1 if design.layout == "incomplete blocks" else len(design.block_names) or 1
    each = design.units_per_treatment + design.extra_control_units * treatment.control
    return each * design.bags_per_batch * times


def _list(
    trial: Trial, recipe: Recipe, users: tuple[Treatment, ...], worked_out: Mixture
) -> MixList:
    bags = sum(bags_of(trial, one) for one in users)
    batching = _batching(trial, users, bags)
    largest, whole = batching.bags_per_load * (1 + SPARE), bags * (1 + SPARE)
    return MixList(
        recipe=recipe.name,
        treatments=users,
        batching=batching,
        per_bag=worked_out,
        load=tuple(_times(one, largest) for one in recipe.ingredients),
        whole=tuple(_times(one, whole) for one in recipe.ingredients),
        water_load_g=worked_out.water_g * largest,
        water_whole_g=worked_out.water_g * whole,
        spawn_bag=recipe.spawn,
        spawn_whole=_times(recipe.spawn, whole) if recipe.spawn else None,
    )


def _batching(trial: Trial, users: tuple[Treatment, ...], bags: int) -> Batching:
    """Mix once a batch where batches count, otherwise once a block, never more than fits."""
    design = trial.design
    loads = max(1, len(design.block_names))
    if design.applied_to == "batch":
        loads = math.ceil(bags / design.bags_per_batch)
    elif design.batch_factor:
        loads *= len({one.level(design.batch_factor) for one in users})
    loads = min(loads, bags)
    if design.batch_holds:
        loads = max(loads, math.ceil(bags / design.batch_holds))
    return Batching(bags=bags, loads=loads, bags_per_load=math.ceil(bags / loads))


def _times(one: Ingredient, factor: float) -> Ingredient:
    return replace(one, amount=one.amount * factor)
