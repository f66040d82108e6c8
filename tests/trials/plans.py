"""Plans that several tests start from."""

from __future__ import annotations

from trials.trial import Trial
from trials.trial_file import check_trial

OKARA = """
format = 1
[trial]
title = "Okara or wheat bran for king oyster"
question = "Does okara give more mushrooms per bag than wheat bran?"
species = "king oyster"
unit = "bag"
start = 2026-03-02
flushes = 3
blind = true

[[treatments]]
code = "B"
name = "10 % wheat bran"
control = true
recipe = "bran"
[[treatments]]
code = "O"
name = "10 % okara"
recipe = "okara"

[design]
layout = "complete blocks"
block = "shelf"
blocks = 8
units_per_treatment = 2
applied_to = "bag"
seed = 41

[aim]
outcome = "yield"
claim = "better"
worthwhile = "15 %"
confidence = 0.95
"""


def plan(
    *,
    treatments: int = 2,
    layout: str = "complete blocks",
    blocks: int = 4,
    units: int = 1,
    batch: int = 0,
    flushes: int = 2,
    blind: bool = False,
    aim: str = 'outcome = "yield"\nworthwhile = "10 %"',
    seed: int = 1,
) -> Trial:
    """Make a small plan."""
    tables = "".join(
        f'[[treatments]]\ncode = "T{number}"\nname = "mix {number}"\n'
        + ("control = true\n" if number == 1 else "")
        for number in range(1, treatments + 1)
    )
    block = f'block = "shelf"\nblocks = {blocks}\n' if layout != "completely random" else ""
    batches = f'applied_to = "batch"\nbags_per_batch = {batch}\n' if batch else ""
    return check_trial(
        f'format = 1\n[trial]\ntitle = "A test"\nflushes = {flushes}\n'
        f"blind = {str(blind).lower()}\n{tables}"
        f'[design]\nlayout = "{layout}"\n{block}units_per_treatment = {units}\n{batches}'
        f"seed = {seed}\n[aim]\n{aim}\n"
    )
