"""Recipes worked out: water, spawn, supplement, nitrogen, cost, what differs, and the calendar.

“Common practice, no source” marks facts of the trade; densities are from published tables.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.trials.plans import OKARA
from trials.assumptions import Assumptions, flush_shares
from trials.calendar import (
    COLONISING_F,
    FRUITING_F,
    FRUITING_HUMIDITY,
    REST_HOURS,
    calendar,
)
from trials.recipes.mixing import SPARE, mix_lists
from trials.recipes.mixture import mixture
from trials.recipes.nitrogen import nitrogen_of, nitrogen_table
from trials.recipes.recipe_differences import recipe_differences
from trials.recipes.volumes import celsius, millilitres
from trials.trial import Ingredient, Recipe, Trial
from trials.trial_file import check_trial
from trials.trial_text import to_toml

CUP = 236.5882365  # US customary cup in millilitres: NIST Handbook 44, appendix C


def grown(recipes: str) -> Trial:
    return check_trial(OKARA + recipes)


def test_volumes_and_temperatures() -> None:
    """NIST Handbook 44; 65 °F is 18.3 °C, 250 °F is 121 °C, a pound 453.59237 g."""
    assert millilitres(1, "cup") == pytest.approx(CUP)
    assert millilitres(2, "quarts") == pytest.approx(8 * CUP)
    assert millilitres(1, "gallon") == pytest.approx(16 * CUP)
    assert millilitres(1.5, "litre") == pytest.approx(1500)
    assert [millilitres(1, word) for word in ("scoop", "g", "", "(", "5")] == [None] * 5
    assert round(celsius(65), 1) == 18.3
    assert round(celsius(250)) == 121
    assert Ingredient(name="spawn", amount=4, unit="lb").grams == pytest.approx(1814, abs=0.5)


@pytest.mark.parametrize("pellets", [0.60, 0.641, 0.75])
@pytest.mark.parametrize("moisture", [0.04, 0.08])
def test_five_measures_of_pellets_take_five_and_a_half_of_water(
    pellets: float, moisture: float
) -> None:
    """Common practice, no source: the mix is then right. Pellets weigh 0.60-0.75 kg a litre at
    4-8 % moisture (shipping schedule; soybean hull pellets 0.641, Alabama Cooperative Extension);
    water near boiling 0.96. Ready substrate holds 60-70 % water (common practice)."""
    dry = Ingredient(
        name="pellets", amount=5, unit="measure", grams_per_measure=1000 * pellets,
        moisture=moisture,
    )  # fmt: skip
    water = Ingredient(name="water", amount=5.5, unit="measure", grams_per_measure=958)
    found = mixture(Recipe(name="mix", ingredients=(dry,), water=water))
    assert found is not None
    assert 0.595 < found.moisture < 0.70


def test_four_pounds_of_spawn_do_for_eight_bags() -> None:
    """Common practice, no source: one and a half cups a bag, and 4 lb spawn eight. A cup then
    weighs 151 g, 0.64 kg a litre: between oats, 0.41, and wheat, 0.77 (grain densities)."""
    unit = Ingredient(name="spawn", amount=4, unit="lb")
    cup = unit.grams / (8 * 1.5)
    assert 0.41 < cup / CUP < 0.77
    spawn = Ingredient(name="spawn", amount=1.5, unit="cup", grams_per_measure=cup)
    assert 8 * spawn.grams == pytest.approx(unit.grams)


def test_water_to_a_target() -> None:
    """By hand: 700 g at 10 % and 80 g at 12 % hold 700.4 g dry and 79.6 g water; 64 % water takes
    700.4 x 64/36 = 1245.2 g in all, 1165.6 g to add."""
    recipe = grown(
        '[recipes.bran]\nmoisture_target = 0.64\ningredients = [\n{ name = "beech sawdust", '
        'amount = 700, unit = "g", moisture = 0.10, price_per_kg = 0.2 },\n{ name = "wheat bran", '
        'amount = 80, unit = "g", moisture = 0.12, supplement = true, price_per_kg = 0.5 }]\n'
        'spawn = { name = "spawn", amount = 110, unit = "g", price_per_kg = 3.0 }\n'
    ).recipes[0]
    found = mixture(recipe)
    assert found is not None
    assert found.dry_g == pytest.approx(700.4)
    assert found.water_g == pytest.approx(700.4 * 64 / 36 - 79.6)
    assert found.moisture == pytest.approx(0.64)
    assert found.spawn_rate == pytest.approx(110 / (700.4 / 0.36))
    assert found.supplement_share == pytest.approx(70.4 / 700.4)
    assert found.nitrogen == pytest.approx(
        ((0.1 * 630 + 2.2 * 70.4) / 700.4, (0.3 * 630 + 2.8 * 70.4) / 700.4)
    )
    assert found.cost == pytest.approx(0.14 + 0.04 + 0.33)


@given(
    target=st.floats(0.3, 0.9), moisture=st.floats(0, 0.2), grams=st.floats(10, 1e5),
)  # fmt: skip
def test_the_target_is_always_met(target: float, moisture: float, grams: float) -> None:
    part = Ingredient(name="straw", amount=grams, unit="g", moisture=moisture)
    found = mixture(Recipe(name="mix", ingredients=(part,), moisture_target=target))
    assert found is not None
    assert found.moisture == pytest.approx(target)
    assert found.wet_g == pytest.approx(part.grams + found.water_g)


def test_what_does_not_fit_is_noted() -> None:
    wet = Ingredient(name="brewery grain", amount=100, unit="g", moisture=0.8)
    water = Ingredient(name="", amount=50, unit="g")
    found = mixture(Recipe(name="mix", ingredients=(wet,), water=water, moisture_target=0.6))
    assert found is not None
    assert found.water_g == 0
    assert "50 g more water" in found.notes[0]
    bare = mixture(Recipe(name="mix", ingredients=(Ingredient(name="husk", amount=1, unit="kg"),)))
    assert bare is not None
    assert "counts as 0" in bare.notes[0]
    assert bare.nitrogen is None
    assert mixture(Recipe(name="mix", ingredients=())) is None


def test_nitrogen_is_sourced_and_can_be_overridden() -> None:
    """Crude protein over 6.25: soybean hulls 12 %, middlings 18 % (Alabama Coop. Extension)."""
    assert nitrogen_table()["soybean hulls"].low == pytest.approx(12 / 6.25, abs=0.05)
    assert nitrogen_table()["wheat middlings"].low == pytest.approx(18 / 6.25, abs=0.05)
    assert all(one.source and one.low <= one.high for one in nitrogen_table().values())
    own = Ingredient(name="wheat bran", amount=1, unit="g", nitrogen=2.61)
    found = nitrogen_of(own)
    assert found is not None
    assert (found.low, found.high, found.source) == (2.61, 2.61, "the plan")


MIXES = (
    '[recipes.bran]\nmoisture_target = 0.64\ningredients = [{ name = "wheat bran", amount = 3, '
    'unit = "cup", grams_per_measure = 50, moisture = 0.1 }]\nspawn = {amount = 40, unit = "g"}\n'
    '[recipes.okara]\nmoisture_target = 0.70\ningredients = [{ name = "okara", amount = 200, '
    'unit = "g", moisture = 0.1 }]\nspawn = {amount = 40, unit = "g"}\n'
    'water = { amount = 2, unit = "cups" }\n'
)


def test_recipes_go_round_and_water_needs_no_weight() -> None:
    trial = grown(MIXES)
    assert check_trial(to_toml(trial)) == trial
    water = trial.recipes[1].water
    assert water is not None
    assert water.grams == pytest.approx(2 * CUP)


def test_what_differs_besides_the_thing_tested_is_told() -> None:
    (told,) = recipe_differences(grown(MIXES))
    for words in ("water 70 % against 64 %", "dry weight 180 g against 135 g", "nitrogen", "spawn"):
        assert words in told
    same = MIXES.replace("0.70", "0.64").replace("amount = 200", "amount = 150")
    same = same.replace('"okara", amount', '"wheat bran", amount')
    assert recipe_differences(grown(same)) == ()


def test_the_whole_trial_is_weighed_out_with_spare() -> None:
    """Sixteen bags of each on eight shelves: eight loads of two bags."""
    bran, okara = mix_lists(grown(MIXES))
    assert (bran.batching.bags, bran.batching.loads, bran.batching.bags_per_load) == (16, 8, 2)
    assert bran.load[0].amount == pytest.approx(3 * 2 * (1 + SPARE))
    assert bran.load[0].unit == "cup"
    assert bran.whole[0].amount == pytest.approx(3 * 16 * (1 + SPARE))
    assert okara.spawn_whole is not None
    assert okara.spawn_whole.grams == pytest.approx(40 * 16 * (1 + SPARE))
    small = check_trial(OKARA.replace("seed = 41", "seed = 41\nbatch_holds = 1") + MIXES)
    assert mix_lists(small)[0].batching.loads == 16


def test_the_calendar_holds_the_usual_days() -> None:
    """Common practice, no source: rest 12 h; colonised in two to three weeks at about 65 °F; pins
    within 14 days of opening. Published: full spawn run 15-37.6 days on waste-paper mixes, 17-24
    days in Pleurotus (Shnyreva et al. 2017, Advances in Microbiology 7, 125)."""
    assert REST_HOURS >= 12
    steps = {one.step: one for one in calendar(grown(""))}
    opening, pins, first = (steps[name] for name in ("opening", "first pins", "flush 1"))
    assert opening.first <= 14
    assert opening.last >= 21
    assert opening.first <= 17 <= 24 <= opening.last
    assert pins.last - opening.last == 14
    assert first.first > pins.first
    assert steps["spawning"].first_date == dt.date(2026, 3, 2)
    assert opening.first_date == dt.date(2026, 3, 16)
    assert [name for name in steps if name.startswith("flush")] == [
        f"flush {one}" for one in (1, 2, 3)
    ]


def test_the_calendar_says_how_warm_and_damp() -> None:
    """Common practice, no source: colonising at about 65 °F (18.3 °C), fruiting near 80 % humidity
    and 65 to 70 °F; bags stand 250 °F (121 °C). Exact conversion: C = (F - 32) / 1.8."""
    assert celsius(65) == pytest.approx(18.3, abs=0.05)
    assert [celsius(one) for one in FRUITING_F] == pytest.approx([33 / 1.8, 38 / 1.8])
    assert celsius(250) == pytest.approx(121, abs=0.2)
    assert (COLONISING_F, FRUITING_F, FRUITING_HUMIDITY) == (65, (65, 70), 80)
    steps = {one.step: one.look for one in calendar(grown(""))}
    assert "at about 18 °C (65 °F)" in steps["colonising"]
    assert "About 80 % humidity and 18 to 21 °C (65 to 70 °F)" in steps["opening"]


def test_each_crop_is_taken_to_be_smaller_than_the_one_before() -> None:
    """Common practice, no source; the share kept is from published successive flushes."""
    shares = flush_shares(Assumptions().kept, 4)
    assert (np.diff(shares) < 0).all()
    assert shares.sum() == pytest.approx(1)
