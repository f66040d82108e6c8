"""The mixing sheet: what to weigh out for the whole trial, and which labels go on which mix."""

from __future__ import annotations

import re
from dataclasses import dataclass

from reports.parts.blocks import Caution
from reports.parts.cautions import FOLLOW
from reports.sheets.frame import framed
from reports.wording.grammar import counted
from reports.wording.names import printable, shorten, unit_word
from trials.layout import Layout
from trials.measures import GRAMS_IN, WeightUnit
from trials.recipes.mixing import SPARE, MixList, mix_lists
from trials.recipes.recipe_differences import recipe_differences
from trials.trial import Ingredient, Trial

__all__ = ["MIXING_CAUTIONS", "mixing_sheet"]

MIXING_CAUTIONS: tuple[Caution, ...] = (
    Caution(
        title="Boiling water and steam",
        text="Both scald. Wear long gloves, sleeves and eye cover; lift lids away from your face; "
        "let vessels and bags cool before you move them; keep children away. " + FOLLOW,
    ),
    Caution(
        title="Pressure",
        text="Use a pressure vessel only by its manual, with a working gauge and valve. Never open "
        "it under pressure, never leave it alone. " + FOLLOW,
    ),
    Caution(
        title="Burners",
        text="Burn outdoors only: carbon monoxide has no smell and kills. Put an alarm into every "
        "room beside. " + FOLLOW,
    ),
    Caution(
        title="Lime and dust",
        text="Hydrated lime burns eyes, skin and lungs: goggles, gloves, dust mask, water at hand. "
        "Dry bran, sawdust and spores harm the lungs too. " + FOLLOW,
    ),
    Caution(
        title="Lifting",
        text="Wet substrate is heavy. Make loads that you can lift with a straight back, or lift "
        "with two people. " + FOLLOW,
    ),
)  # fmt: skip
"""Hydrated lime: NIOSH Pocket Guide 0092 and ICSC 0408; the rest is common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """One line of the table of a mix."""

    name: str
    bag: str
    load: str
    whole: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Mix:
    """One mix with its table, facts and labels."""

    heading: str
    loads: str
    lines: tuple[_Line, ...]
    facts: tuple[str, ...]
    labels: tuple[tuple[str, tuple[str, ...]], ...]


def mixing_sheet(trial: Trial, layout: Layout) -> str:
    """Give the mixing sheet of a trial.

    Parameters
    ----------
    trial : Trial
        Its recipes, in the grower's units. Treatments without a recipe show their labels only.
    layout : Layout
        The drawn places, for the labels that belong to each mix.

    Returns
    -------
    str
        One HTML document for A4 and Letter.
    """
    lists = mix_lists(trial)
    mixes = [_mix(trial, layout, one) for one in lists]
    told = {one.code for mix in lists for one in mix.treatments}
    for one in trial.treatments:
        if one.code not in told:
            labels = _labels(layout, [one.code])
            mixes.append(_Mix(heading=_name(one.name), loads="", lines=(), facts=(), labels=labels))
    lines = ["Weigh, tick off, and write on the sheet whatever you did otherwise."]
    if trial.blind:
        lines.append(
            "The labels are blind: this sheet alone tells them apart. Keep it from whoever weighs "
            "and picks until the last flush is written down."
        )
    return framed(
        "mixing_sheet.html",
        trial,
        kind="Mixing sheet",
        page_style="@page { margin: 12mm; }\n.mix + .mix { break-before: page; }\n"
        ".mix tbody tr { height: 8mm; }\n.mix tbody th { font-weight: 400; }",
        lines=tuple(lines),
        cautions=MIXING_CAUTIONS,
        mixes=mixes,
        differences=tuple(printable(one) for one in recipe_differences(trial)),
        unit=unit_word(trial),
    )


def _name(text: str) -> str:
    return shorten(printable(text), 60)


def _mix(trial: Trial, layout: Layout, one: MixList) -> _Mix:
    batching, bag = one.batching, one.per_bag
    unit = unit_word(trial)
    rows = [
        _line(trial, *parts)
        for parts in zip(_recipe(trial, one.recipe), one.load, one.whole, strict=True)
    ]
    rows.append(
        _Line(
            name="water to add", bag=_weight(bag.water_g, trial.weights),
            load=_water(one.water_load_g, trial), whole=_water(one.water_whole_g, trial),
        )
    )  # fmt: skip
    if one.spawn_bag and one.spawn_whole:
        name = _name(one.spawn_bag.name or "spawn")
        rows.append(
            _Line(name=f"{name}, when cool", bag=_amount(one.spawn_bag, trial), load="",
                  whole=_amount(one.spawn_whole, trial))
        )  # fmt: skip
    names = " and ".join(_name(user.name) for user in one.treatments)
    loads = (
        f"{counted(batching.bags, unit)} in {counted(batching.loads, 'load')} "
        f"of up to {batching.bags_per_load}, each "
        f"mixed with {100 * SPARE:.0f} % to spare."
    )
    return _Mix(
        heading=names, loads=loads, lines=tuple(rows), facts=_facts(trial, one),
        labels=_labels(layout, [user.code for user in one.treatments]),
    )  # fmt: skip


def _recipe(trial: Trial, name: str) -> tuple[Ingredient, ...]:
    return next(one.ingredients for one in trial.recipes if one.name == name)


def _line(trial: Trial, bag: Ingredient, load: Ingredient, whole: Ingredient) -> _Line:
    return _Line(
        name=_name(bag.name), bag=_amount(bag, trial), load=_amount(load, trial),
        whole=_amount(whole, trial),
    )  # fmt: skip


def _amount(one: Ingredient, trial: Trial) -> str:
    """Write an amount in the grower's measure, with its weight beside a volume."""
    if one.grams_per_measure is None:
        return _weight(one.grams, trial.weights)
    unit = printable(one.unit)
    word = unit if one.amount <= 1 or unit.endswith("s") else f"{unit}s"
    return f"{one.amount:.3g} {word} ({_weight(one.grams, trial.weights)})"


def _weight(grams: float, unit: WeightUnit) -> str:
    """Write a weight in the unit of the plan, large ones in the larger unit of its kind."""
    larger: dict[WeightUnit, WeightUnit] = {"g": "kg", "oz": "lb"}
    shown: WeightUnit = larger[unit] if unit in larger and grams >= 2000 else unit
    value = grams / GRAMS_IN[shown]
    return f"{value:.0f} {shown}" if value >= 100 else f"{value:.3g} {shown}"


def _water(grams: float, trial: Trial) -> str:
    return f"{_weight(grams, trial.weights)} ({grams / 1000:.3g} litres)"


def _facts(trial: Trial, one: MixList) -> tuple[str, ...]:
    bag, unit = one.per_bag, unit_word(trial)
    facts = [
        f"One {unit}: {_weight(bag.wet_g, trial.weights)} wet, of it "
        f"{_weight(bag.dry_g, trial.weights)} dry; {100 * bag.moisture:.0f} % water."
    ]
    if bag.spawn_rate is not None:
        facts.append(f"Spawn: {100 * bag.spawn_rate:.1f} % of the wet weight.")
    if bag.supplement_share:
        facts.append(f"Supplement: {100 * bag.supplement_share:.0f} % of the dry weight.")
    if bag.nitrogen:
        low, high = bag.nitrogen
        exact = high - low < 0.005
        told = f"{low:.2f} %" if exact else f"roughly {low:.2f} to {high:.2f} %"
        facts.append(f"Nitrogen: {told} of the dry weight.")
    if bag.cost is not None:
        facts.append(f"Ingredients: {bag.cost:.2f} {printable(trial.costs.currency)} a {unit}.")
    return (*facts, *(printable(note) for note in bag.notes))


def _labels(layout: Layout, codes: list[str]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Gather the labels of a mix, batch by batch or block by block."""
    places: dict[str, list[str]] = {}
    for slot in layout.slots:
        if slot.treatment in codes:
            where = ", ".join(one for one in (slot.block, slot.batch) if one)
            places.setdefault(printable(where), []).append(slot.code)
    return tuple((where, tuple(places[where])) for where in sorted(places, key=_by_number))


def _by_number(where: str) -> tuple[tuple[str, int], ...]:
    """Put “batch 9” before “batch 10”: they are made in the order of their numbers."""
    parts = re.split(r"([0-9]+)", where)  # every second one is a number
    return tuple(("", int(one[:9])) if at % 2 else (one, 0) for at, one in enumerate(parts))
