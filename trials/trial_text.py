"""A `Trial` written out as the text of a trial file, losing nothing."""

from __future__ import annotations

from dataclasses import fields

import tomlkit
from tomlkit.items import Table

from trials.room import UNKNOWN_ROOM, Room
from trials.trial import Design, Ingredient, Recipe, Trial

__all__ = ["to_toml"]

_HEADER = (
    "title", "question", "species", "strain", "place", "grower", "unit", "start", "flushes",
    "blind", "weights", "flush_gap_days", "looks", "invented",
    "why_this_size", "look_alike", "paid_by",
)  # fmt: skip


def to_toml(trial: Trial) -> str:
    """Give the text of a trial file that `check_trial` reads back to an equal trial.

    Parameters
    ----------
    trial : Trial

    Returns
    -------
    str
        TOML; keys that hold their default are left out.

    Examples
    --------
    >>> from pathlib import Path
    >>> from trials.trial_file import check_trial, read_trial
    >>> trial = read_trial(Path("data/demos/mixes"))
    >>> check_trial(to_toml(trial)) == trial
    True
    """
    document = tomlkit.document()
    document.add("format", tomlkit.item(1))
    document.add("trial", _table(trial, _HEADER))
    treatments = tomlkit.aot()
    for one in trial.treatments:
        table = _table(one, ("code", "name", "control", "recipe", "note"))
        if one.factors:
            levels = tomlkit.inline_table()
            for factor, level in one.factors:
                levels.add(factor, level)
            table.add("factors", levels)
        treatments.append(table)
    document.add("treatments", treatments)
    document.add("design", _design(trial.design))
    aim = _table(trial.aim, ("outcome", "claim", "confidence"))
    if trial.aim.worthwhile is not None:
        aim.add("worthwhile", str(trial.aim.worthwhile))
    document.add("aim", aim)
    costs = _table(trial.costs, tuple(field.name for field in fields(trial.costs)))
    if costs:
        document.add("costs", costs)
    if trial.recipes:
        recipes = tomlkit.table(is_super_table=True)
        for recipe in trial.recipes:
            recipes.add(recipe.name, _recipe(recipe))
        document.add("recipes", recipes)
    if trial.room != UNKNOWN_ROOM:
        document.add("room", _room(trial.room))
    return tomlkit.dumps(document)


def _room(room: Room) -> Table:
    table = _table(room, ("humidity", "heat_treatment", "heat_hours", "note"))
    if room.temperature_c is not None:
        table.add("temperature", f"{room.temperature_c!r} °C")
    return table


def _table(record: object, names: tuple[str, ...], *, keep: tuple[str, ...] = ()) -> Table:
    """Write the named fields of a record, leaving out those that hold their default."""
    defaults = {field.name: field.default for field in fields(record)}  # type: ignore[arg-type]
    table = tomlkit.table()
    for name in names:
        value = getattr(record, name)
        if value is None or (name not in keep and value == defaults[name]):
            continue
        table.add(name, list(value) if isinstance(value, tuple) else value)
    return table


def _design(design: Design) -> Table:
    """Write a design with the words of its layout: what a block is may be called a row."""
    table = _table(design, ("layout",))
    square = design.layout in ("latin square", "rows and columns")
    if design.block:
        table.add("row" if square else "block", design.block)
        if design.layout != "latin square":
            table.add("rows" if square else "blocks", design.blocks)
    names = ["column", "batch_factor", "growers", "places", "applied_to", "bags_per_batch",
             "extra_control_units", "batch_holds"]  # fmt: skip
    if design.layout not in ("latin square", "incomplete blocks"):
        names.insert(0, "units_per_treatment")
    kept = ("bags_per_batch",) if design.applied_to == "batch" else ()
    inner = _table(design, (*names, "seed"), keep=kept)
    for name, value in inner.items():
        table.add(name, value)
    return table


def _recipe(recipe: Recipe) -> Table:
    table = _table(recipe, ("moisture_target",))
    for part in ("water", "spawn"):
        one: Ingredient | None = getattr(recipe, part)
        if one is not None:
            table.add(part, _table(one, _INGREDIENT))
    if recipe.ingredients:
        ingredients = tomlkit.aot()
        for one in recipe.ingredients:
            ingredients.append(_table(one, _INGREDIENT))
        table.add("ingredients", ingredients)
    return table


_INGREDIENT = tuple(field.name for field in fields(Ingredient))
