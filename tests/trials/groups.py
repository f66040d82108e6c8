"""Folders of several growers made for tests."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.trials.folders import make_folder, write_bags
from trials.layout import Slot
from trials.measures import GRAMS_IN
from trials.trial import Trial
from trials.trial_file import check_trial

PLAN = """
format = 1
[trial]
title = "Hulls in the straw"
question = "Do hulls give more?"
species = "pearl oyster"
unit = "bag"
flushes = 3
[[treatments]]
code = "P"
name = "plain straw"
control = true
recipe = "straw"
[[treatments]]
code = "H"
name = "straw with hulls"
recipe = "hulls"
[design]
layout = "complete blocks"
block = "shelf"
blocks = 3
units_per_treatment = 2
seed = 5
[aim]
outcome = "yield"
claim = "better"
worthwhile = "10 %"
[recipes.straw]
ingredients = [{ name = "straw", amount = 600, unit = "g" }]
[recipes.hulls]
ingredients = [
  { name = "straw", amount = 500, unit = "g" },
  { name = "soya hulls", amount = 100, unit = "g" },
]
"""


def the_plan(change: Callable[[str], str] = lambda text: text) -> Trial:
    """Give the plan of the group, with a change in its words."""
    return check_trial(change(PLAN))


def make_grower(
    top: Path,
    name: str,
    seed: int,
    *,
    trial: Trial | None = None,
    picked: int = 3,
    lost_block: str = "",
    grams: Callable[[int, Slot], float] | None = None,
) -> Path:
    """Write the folder of one grower, weighed in the unit of the plan, in ``bags.csv``."""
    plan = trial or the_plan()
    folder = top / name
    layout = make_folder(folder, replace(plan, design=replace(plan.design, seed=seed)))
    rng = np.random.default_rng(seed)
    unit = plan.weights

    def row(number: int, slot: Slot) -> list[object]:
        if lost_block and slot.block == lost_block:
            return [slot.code, "lost otherwise", "2026-03-20", *[""] * plan.flushes]
        weight = grams(number, slot) if grams else round(float(rng.normal(200, 20)))
        cells = [
            round(weight / flush / GRAMS_IN[unit], 4) if flush <= picked else ""
            for flush in range(1, plan.flushes + 1)
        ]
        return [slot.code, "finished", "", *cells]

    heads = [f"flush {flush} ({unit})" for flush in range(1, plan.flushes + 1)]
    write_bags(folder, layout, ["code", "fate", "lost on", *heads], row)
    return folder
