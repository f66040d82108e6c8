"""The tables ``[recipes.<name>]`` of a plan: what goes into one unit."""

from __future__ import annotations

from trials.measures import weight_unit
from trials.plan_reader import PlanTable
from trials.recipes.volumes import millilitres
from trials.trial import Ingredient, Recipe

__all__ = ["check_recipes"]


def check_recipes(table: PlanTable | None) -> tuple[Recipe, ...]:
    """Read the tables under ``[recipes]``; mistakes are gathered by the table.

    Parameters
    ----------
    table : PlanTable or None
        The table ``[recipes]``; None where the plan has none.

    Returns
    -------
    tuple of Recipe
        Those that could be read.
    """
    if table is None:
        return ()
    return tuple(_recipe(name, inner) for name, inner in table.named_tables())


def _recipe(name: str, table: PlanTable) -> Recipe:
    tables = table.tables("ingredients")
    ingredients = [_ingredient(one, named=True) for one in tables]
    water, spawn = table.table("water"), table.table("spawn")
    recipe = Recipe(
        name=name,
        ingredients=tuple(one for one in ingredients if one is not None),
        water=_ingredient(water, named=False, water=True) if water else None,
        spawn=_ingredient(spawn, named=False) if spawn else None,
        moisture_target=table.number("moisture_target", low=0.05, high=0.95),
    )
    table.refuse_unknown()
    return recipe


def _ingredient(table: PlanTable, *, named: bool, water: bool = False) -> Ingredient | None:
    name = table.text("name", needed=named, example="wheat bran")
    amount = table.number("amount", low=1e-6, high=1e6, needed=True)
    unit = table.text("unit", needed=True, longest=30, example="g")
    measure = table.number("grams_per_measure", low=1e-6, high=1e6)
    moisture = table.number("moisture", low=0, high=0.99)
    nitrogen = table.number("nitrogen", low=0, high=20)
    price = table.number("price_per_kg", low=0, high=1e6)
    supplement = table.yes_or_no("supplement")
    table.refuse_unknown()
    if amount is None or unit is None or (named and name is None):
        return None
    known = weight_unit(unit)
    if water and known is None and measure is None:
        measure = millilitres(1, unit)  # a millilitre of water weighs a gram
    if known is None and measure is None:
        table.wrong(
            "grams_per_measure",
            f"the weight of one {unit} is not given",
            f"Weigh one level {unit} and write grams_per_measure = that weight in grams.",
        )
        return None
    return Ingredient(
        name=name or "",
        amount=amount,
        unit=known or unit,
        grams_per_measure=None if known else measure,
        moisture=moisture,
        nitrogen=nitrogen,
        price_per_kg=price,
        supplement=bool(supplement),
    )
