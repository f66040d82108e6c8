"""What a plan leaves to judge by, and the warnings that follow from it."""

from __future__ import annotations

import json
import math

import pytest

from pinset.cli import main
from tests.trials.plans import plan
from tests.trials.test_squares_and_shelves import SHELVES, SPLIT, SQUARE, TABLE, laid
from trials.designs import draw
from trials.signs.freedom import strata
from trials.signs.warning_signs import warning_signs
from trials.sizes import Precision
from trials.sizing.mean_sizes import power_better
from trials.trial import Trial
from trials.trial_file import check_trial


def names(trial: Trial) -> set[str]:
    return {one.name for one in warning_signs(trial, draw(trial))}


def fewest(df: int, **given: object) -> int:
    """Give the fewest blocks or units that leave so many residual degrees of freedom."""
    for count in range(2, 100):
        size = {"units": count} if given.get("layout") else {"blocks": count}
        if strata(plan(**{**given, **size}))[0].df >= df:
            return count
    raise AssertionError


@pytest.mark.parametrize(
    ("treatments", "twelve", "fifteen"),
    [(2, 13, 16), (3, 7, 9), (4, 5, 6), (5, 4, 5), (6, 4, 4), (7, 3, 4)],
)
def test_complete_blocks_for_the_standard(treatments: int, twelve: int, fifteen: int) -> None:
    """Residual df (r - 1)(t - 1) of complete blocks, EPPO PP 1/152: at least 12; 15 if rough."""
    assert fewest(12, treatments=treatments) == twelve
    assert fewest(15, treatments=treatments) == fifteen


@pytest.mark.parametrize(
    ("treatments", "twelve", "fifteen"), [(2, 7, 9), (3, 5, 6), (4, 4, 5), (5, 4, 4)]
)
def test_random_layouts_for_the_standard(treatments: int, twelve: int, fifteen: int) -> None:
    """Residual df t (r - 1) of a completely random layout."""
    assert fewest(12, treatments=treatments, layout="completely random") == twelve
    assert fewest(15, treatments=treatments, layout="completely random") == fifteen


def test_squares_split_plots_and_balanced_blocks() -> None:
    """(t - 1)(t - 2) in a square: 2, 6, 12; (r - 1)(a - 1) for batches, 13 blocks of two for 12;
    balanced blocks of Cox (1958) 16 and of Montgomery's catalyst 5; Stroup's split plot 6 and 9."""
    assert [strata(laid(SQUARE, t))[0].df for t in (3, 4, 5)] == [2, 6, 12]
    wide = SPLIT.replace("blocks = 4", "blocks = 13").format(1)
    assert strata(laid(wide, factors=(2, 2)))[0].df == 12
    batches, bags = strata(laid(SPLIT.format(1), factors=(3, 2)))
    assert (batches.df, bags.df) == (6, 9)
    assert (batches.unit, bags.unit) == ("batch", "bag")
    assert (batches.compared, bags.compared) == ("heat", "mix")
    assert strata(laid(SHELVES.format(10, 3), 5))[0].df == 16
    assert strata(laid(SHELVES.format(4, 3), 4))[0].df == 5
    # Two squares of order 4 that share their columns: 31 df less 7, 3 and 3.
    assert strata(laid(TABLE.format(8), 4))[0].df == 18


def test_one_batch_a_side_is_told() -> None:
    trial = plan(layout="completely random", units=1, batch=20)
    assert "one batch" in names(trial)
    assert "one batch" not in names(plan(layout="completely random", units=6, batch=20))


def test_few_df_and_few_replicates_are_told() -> None:
    assert {"few df", "few replicates"} <= names(plan(blocks=3))
    found = {one.name: one.weight for one in warning_signs(*_drawn(plan(blocks=14)))}
    assert found["few df"] == "advice"
    assert "few df" not in names(plan(blocks=17))
    assert "few replicates" not in names(plan(blocks=4))


def _drawn(trial: Trial) -> tuple:
    return trial, draw(trial)


def test_a_treatment_given_to_batches_and_counted_by_bag_is_told() -> None:
    from dataclasses import replace

    trial = plan(blocks=8)
    named = tuple(
        replace(one, name=f"steamed {hours} hours")
        for one, hours in zip(trial.treatments, (1, 2), strict=True)
    )
    assert "counted by bag" in names(replace(trial, treatments=named))
    assert "counted by bag" not in names(trial)


def test_treatments_that_stand_apart_are_told() -> None:
    """Of the 20 orders of three and three, 2 keep the two apart."""
    trial = plan(layout="completely random", units=3)
    apart = [
        seed
        for seed in range(200)
        if any(one.name == "apart" for one in warning_signs(trial, draw(trial, seed)))
    ]
    assert 8 <= len(apart) <= 34
    orders = {"".join(slot.treatment[1] for slot in draw(trial, seed).slots) for seed in apart}
    assert orders == {"111222", "222111"}


def test_a_margin_out_of_reach_is_told_with_its_chance() -> None:
    trial = plan(blocks=4, units=2, aim='outcome = "yield"\nworthwhile = "10 %"')
    sign = next(one for one in warning_signs(*_drawn(trial)) if one.name == "out of reach")
    power = power_better(0.10, 0.20, Precision(factor=2 / 8, df=11))
    assert f"{100 * power:.0f} times in 100" in sign.what
    ample = plan(blocks=20, units=4, aim='outcome = "yield"\nworthwhile = "15 %"')
    assert "out of reach" not in names(ample)
    losses = plan(aim='outcome = "contamination"\nworthwhile = "10 in 100"', blocks=30)
    assert "out of reach" in names(losses)


def test_more_control_units_are_advised_by_the_square_root() -> None:
    """With 4 others the control should stand twice as often (Dunnett 1955)."""
    sign = next(
        one
        for one in warning_signs(*_drawn(plan(treatments=5, units=2)))
        if one.name == "control units"
    )
    assert sign.weight == "advice"
    assert "extra_control_units = 2" in sign.mend


def test_the_command_says_them(tmp_path, capsys: pytest.CaptureFixture) -> None:
    from trials.trial_text import to_toml

    (tmp_path / "trial.toml").write_text(to_toml(laid(SHELVES.format(4, 3), 4)))
    assert main(["layout", str(tmp_path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert any("Efficiency factor 0.889" in one and "Balanced" in one for one in told["notes"])
    assert {"few df", "few replicates"} <= {one["name"] for one in told["signs"]}
    assert main(["layout", str(tmp_path), "--redraw"]) == 0
    assert "Warning: This plan leaves 5 residual" in capsys.readouterr().out


def _reach(aim: str, **others: object) -> str:
    found = [
        one for one in warning_signs(*_drawn(plan(aim=aim, **others))) if one.name == "out of reach"
    ]
    return found[0].what if found else ""


def test_a_margin_in_grams_is_judged_by_a_usual_bag() -> None:
    """40 g of the usual 400 g is the same as 10 %."""
    in_grams = _reach('outcome = "yield"\nworthwhile = "40 g"', blocks=4, units=2)
    in_percent = _reach('outcome = "yield"\nworthwhile = "10 %"', blocks=4, units=2)
    assert in_grams.startswith("If a bag gives about 400 g: with bags that vary")
    assert in_grams[-20:] == in_percent[-20:]
    assert not _reach('outcome = "yield"\nworthwhile = "0.2 kg"', blocks=8, units=3)


def test_margins_of_flushes_and_days_are_judged_on_the_log_scale() -> None:
    few, many = {"blocks": 4, "units": 2, "flushes": 3}, {"blocks": 10, "units": 4, "flushes": 3}
    # sd of a slope over 3 flushes .15 / sqrt 2; of log days sqrt(.15^2 + (2 / 18)^2 / 12)
    for aim, margin, sd, base, unit in (
        ("flush drop", "5 in 100", 0.15 / 2**0.5, 54, "in 100"),
        ("days to colonise", "2 days", (0.15**2 + (2 / 18) ** 2 / 12) ** 0.5, 18, "days"),
    ):
        told = _reach(f'outcome = "{aim}"\nworthwhile = "{margin}"', **few)
        size = float(margin.split()[0])
        far = abs(math.log1p((size if unit == "in 100" else -size) / base))
        power = power_better(far, sd, Precision(factor=2 / 8, df=11))
        assert f"would settle that {100 * power:.0f} times in 100" in told
        assert not _reach(f'outcome = "{aim}"\nworthwhile = "{margin}"', **many)
    assert "nothing can take 30 days less" in _reach(
        'outcome = "days to pins"\nworthwhile = "30 days"'
    )


def test_growers_are_what_counts_for_growers_in_general() -> None:
    from tests.trials.plans import OKARA

    text = OKARA.replace("blocks = 8", 'blocks = 3\ngrowers = ["Ana", "Bo", "Cy"]')
    trial = check_trial(text)
    signs = warning_signs(*_drawn(trial))
    few = next(one for one in signs if one.name == "few df")
    assert "2 residual degrees of freedom" in few.what
    assert "a grower is one try" in few.mend
    assert "few growers" in {one.name for one in signs}
    assert "few replicates" not in {one.name for one in signs}
