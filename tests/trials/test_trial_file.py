"""The trial file: read whole, refused whole, written back without loss."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.trials.plans import OKARA
from trials.problems import Problems
from trials.starters import QUESTIONS, starter
from trials.toml_text import LONGEST_FILE
from trials.trial import Margin
from trials.trial_file import check_trial, margin, read_trial
from trials.trial_text import to_toml


def complaints(text: str) -> dict[str, str]:
    """Give what is said of each key."""
    with pytest.raises(Problems) as caught:
        check_trial(text)
    return {one.key: f"{one.what}. {one.mend}" for one in caught.value.problems}


def test_plan_is_read() -> None:
    trial = check_trial(OKARA)
    assert trial.start == dt.date(2026, 3, 2)
    assert [one.code for one in trial.treatments] == ["B", "O"]
    assert trial.control.code == "B"
    assert trial.aim.worthwhile == Margin(value=15.0, unit="%")
    assert trial.units == 32


def test_plan_is_written_back_without_loss() -> None:
    text = OKARA + (
        '[costs]\nprice_per_kg = 12.5\ncurrency = "€"\n'
        "[recipes.bran]\nmoisture_target = 0.62\n"
        '[[recipes.bran.ingredients]]\nname = "saw\\"dust"\n'
        'amount = 1.5\nunit = "cup"\ngrams_per_measure = 80\nmoisture = 0.1\n'
        '[recipes.bran.water]\namount = 500\nunit = "g"\n[recipes."two words"]\n'
    )
    trial = check_trial(text)
    assert check_trial(to_toml(trial)) == trial


@given(
    title=st.text(min_size=1, max_size=80),
    name=st.text(max_size=80),
    seed=st.integers(0, 2**63 - 1),
    confidence=st.floats(0.5, 0.999),
)
def test_any_text_goes_round(title: str, name: str, seed: int, confidence: float) -> None:
    import tomlkit

    document = tomlkit.parse(OKARA)
    document["trial"]["title"] = title
    document["treatments"][1]["name"] = name
    document["design"]["seed"] = seed
    document["aim"]["confidence"] = confidence
    text = tomlkit.dumps(document)
    try:
        trial = check_trial(text)
    except Problems:
        assert all(said for said in complaints(text).values())
        return
    assert check_trial(to_toml(trial)) == trial


@pytest.mark.parametrize("question", QUESTIONS)
def test_starting_files_are_plans(question: str) -> None:
    text = starter(question, folder="my trial", seed=7)
    trial = check_trial(text)
    assert trial.design.seed == 7
    assert to_toml(check_trial(to_toml(trial))) == to_toml(trial)
    assert text.count("#") > 15


def test_every_mistake_at_once() -> None:
    text = (
        OKARA.replace("complete blocks", "complet blocks")
        .replace("flushes = 3", "flushs = 3")
        .replace('"15 %"', '"15 lumps"')
        .replace("2026-03-02", '"2 march"')
        .replace("blind = true", 'blind = "yes"')
    )
    told = complaints(text)
    assert "Did you mean “complete blocks”?" in told["design.layout"]
    assert "missing" in told["trial.flushes"]
    assert "Did you mean “flushes”?" in told["trial.flushs"]
    assert "15 lumps" in told["aim.worthwhile"]
    assert "without quotes" in told["trial.start"]
    assert "true or false" in told["trial.blind"]
    assert len(told) == 6


@pytest.mark.parametrize(
    ("old", "new", "key", "said"),
    [
        ("control = true\n", "", "treatments", "exactly one"),
        ('code = "O"', 'code = "b"', "treatments", "stands twice"),
        ('name = "10 % okara"', 'name = "10 % Wheat bran"', "treatments", "stands twice"),
        ("blocks = 8", "blocks = 1", "design.blocks", "from 2 to 1000"),
        ("blocks = 8", "blocks = 8.5", "design.blocks", "whole number"),
        ("seed = 41", "seed = -1", "design.seed", "out of range"),
        ("seed = 41", "seed = true", "design.seed", "whole number"),
        ("confidence = 0.95", "confidence = 95", "aim.confidence", "0.5 to 0.999"),
        ("confidence = 0.95", "confidence = nan", "aim.confidence", "out of range"),
        ('claim = "better"', 'claim = "no wurse"', "aim.claim", "Did you mean “no worse”?"),
        ('outcome = "yield"', "outcome = 3", "aim.outcome", "should be a word"),
        ('title = "Okara or wheat bran for king oyster"', 'title = ""', "trial.title", "empty"),
        ('unit = "bag"', 'unit = "bag"\ncolour = "red"', "trial.colour", "not a word of the plan"),
        ('applied_to = "bag"', 'applied_to = "batch"', "design.bags_per_batch", "missing"),
        ('applied_to = "bag"', "bags_per_batch = 3", "design.bags_per_batch", "not applied"),
        ("units_per_treatment = 2", "units_per_treatment = 90000", "design.units_per_treatment",
         "400,000"),
        ('layout = "complete blocks"', 'layout = "completely random"', "design.blocks",
         "has no blocks"),
        ("format = 1", "format = 2", "format", "out of range"),
        ("[aim]", "[aims]", "aim", "missing"),
    ],
)  # fmt: skip
def test_a_mistake_is_told(old: str, new: str, key: str, said: str) -> None:
    assert old in OKARA
    told = complaints(OKARA.replace(old, new, 1))
    assert said in told[key]


def test_a_recipe_one_slip_away_is_a_slip() -> None:
    told = complaints(OKARA + "[recipes.brann]\n")
    assert "Did you mean “brann”?" in told["treatments[1].recipe"]


def test_a_measure_needs_its_weight() -> None:
    text = OKARA + (
        '[recipes.bran]\n[[recipes.bran.ingredients]]\nname = "bran"\namount = 2\nunit = "cup"\n'
    )
    told = complaints(text)
    assert "Weigh one level cup" in told["recipes.bran.ingredients[1].grams_per_measure"]


@pytest.mark.parametrize("claim", ["no worse", "same"])
def test_no_worse_needs_a_margin(claim: str) -> None:
    text = OKARA.replace('claim = "better"', f'claim = "{claim}"')
    told = complaints(text.replace('worthwhile = "15 %"\n', ""))
    assert "missing" in told["aim.worthwhile"]


@pytest.mark.parametrize(
    ("text", "outcome", "value", "unit"),
    [
        ("15 %", "yield", 15, "%"),
        ("15%", "yield", 15, "%"),
        ("1,5 oz", "yield", 1.5, "oz"),
        ("40 grams", "yield", 40, "g"),
        ("5 in 100", "contamination", 5, "in 100"),
        ("5 in a hundred", "contamination", 5, "in 100"),
        ("5 points", "contamination", 5, "in 100"),
        ("2 days", "days to pins", 2, "days"),
    ],
)
def test_margins(text: str, outcome: str, value: float, unit: str) -> None:
    assert margin(text, outcome) == Margin(value=value, unit=unit)


@pytest.mark.parametrize("text", ["0 %", "-5 %", "5", "5 bananas", "", 5, None, "1e5 g", "nan g"])
def test_what_is_no_margin(text: object) -> None:
    assert margin(text, "yield") is None


def test_margin_of_another_outcome_is_refused() -> None:
    assert margin("40 g", "contamination") is None
    assert margin("100 in 100", "contamination") is None


def test_not_toml(tmp_path) -> None:
    told = complaints("format = \n[trial")
    assert "TOML" in told[""]
    with pytest.raises(Problems, match="pinset new"):
        read_trial(tmp_path)
    with pytest.raises(Problems, match="no folder"):
        read_trial(tmp_path / "nowhere")
    (tmp_path / "trial.toml").write_bytes(OKARA.replace("Okara", "Okära").encode("latin-1"))
    with pytest.raises(Problems, match=r"line 4 holds a letter"):
        read_trial(tmp_path)
    (tmp_path / "trial.toml").write_text("#" * (LONGEST_FILE + 1))
    with pytest.raises(Problems, match="larger"):
        read_trial(tmp_path)


def test_deep_nesting_is_refused() -> None:
    assert "TOML" in complaints("a = " + "[" * 5000 + "]" * 5000)[""]
