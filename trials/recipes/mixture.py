"""What a recipe comes to: dry matter, water to add, spawn rate, supplement, nitrogen, cost."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from trials.recipes.nitrogen import nitrogen_of
from trials.trial import Ingredient, Recipe

__all__ = ["Mixture", "mixture"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixture:
    """One unit of a recipe, worked out.

    Parameters
    ----------
    dry_g : float
        Dry matter of the ingredients, grams.
    wet_g : float
        Ingredients with all their water, without spawn, grams.
    water_g : float
        Water to add, grams (as many millilitres).
    moisture : float
        Share of water in it, 0 to 1.
    spawn_g : float or None
        Grams; None where the recipe names no spawn.
    spawn_rate : float or None
        Spawn over wet substrate, 0 to 1.
    supplement_share : float
        Dry matter of the supplements over all dry matter, 0 to 1.
    nitrogen : tuple of (float, float) or None
        Lowest and highest per cent of dry matter; None where an ingredient is not known.
    cost : float or None
        Ingredients and spawn in the currency of the costs; None where a price is not given.
    notes : tuple of str
        What had to be assumed, or does not fit.
    """

    dry_g: float
    wet_g: float
    water_g: float
    moisture: float
    spawn_g: float | None
    spawn_rate: float | None
    supplement_share: float
    nitrogen: tuple[float, float] | None
    cost: float | None
    notes: tuple[str, ...] = ()


def mixture(recipe: Recipe) -> Mixture | None:
    """Work a recipe out.

    Parameters
    ----------
    recipe : Recipe

    Returns
    -------
    Mixture or None
        None where it names no ingredient. Water is added to reach the moisture target where the
        recipe gives one: target = water / (water + dry matter); an amount given besides is then
        only compared with it.
    """
    if not recipe.ingredients:
        return None
    dry = sum(_dry(one) for one in recipe.ingredients)
    inside = sum(one.grams for one in recipe.ingredients) - dry
    added = recipe.water.grams if recipe.water else 0.0
    notes = [
        f"The moisture of {one.name} is not given and counts as 0."
        for one in recipe.ingredients
        if one.moisture is None
    ]
    target = recipe.moisture_target
    if target is not None:
        wanted = dry * target / (1 - target) - inside
        notes += _target_notes(wanted, recipe)
        added = max(wanted, 0.0)
    wet = dry + inside + added
    spawn = recipe.spawn.grams if recipe.spawn else None
    supplements = sum(_dry(one) for one in recipe.ingredients if one.supplement)
    return Mixture(
        dry_g=dry,
        wet_g=wet,
        water_g=added,
        moisture=1 - dry / wet,
        spawn_g=spawn,
        spawn_rate=None if spawn is None else spawn / wet,
        supplement_share=supplements / dry,
        nitrogen=_nitrogen(recipe.ingredients, dry),
        cost=_cost(recipe),
        notes=tuple(notes),
    )


def _target_notes(wanted: float, recipe: Recipe) -> list[str]:
    if wanted < 0:
        return [f"The ingredients hold {-wanted:.0f} g more water than the target: dry them."]
    if recipe.water and abs(recipe.water.grams - wanted) > 0.1 * wanted:
        return [
            f"The plan says {recipe.water.grams:.0f} g of water; the moisture target takes "
            f"{wanted:.0f} g, which is what is used here."
        ]
    return []


def _dry(one: Ingredient) -> float:
    return one.grams * (1 - (one.moisture or 0.0))


def _nitrogen(ingredients: Iterable[Ingredient], dry: float) -> tuple[float, float] | None:
    low = high = 0.0
    for one in ingredients:
        found = nitrogen_of(one)
        if found is None:
            return None
        low += found.low * _dry(one) / dry
        high += found.high * _dry(one) / dry
    return low, high


def _cost(recipe: Recipe) -> float | None:
    parts = [*recipe.ingredients, *([recipe.spawn] if recipe.spawn else [])]
    total = 0.0
    for one in parts:
        if one.price_per_kg is None:
            return None
        total += one.price_per_kg * one.grams / 1000
    return total
