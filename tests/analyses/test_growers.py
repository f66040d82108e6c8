"""A trial at several growers: the unit for growers in general is the grower."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from analyses.questions import analyse
from analyses.unit import unit_story
from analyses.yields import STARTED, yield_answer
from tests.analyses.made import records_of
from tests.reference.load import case, frame
from trials.records import Records


def at_growers(records: Records, growers: tuple[str, ...]) -> Records:
    design = dataclasses.replace(records.trial.design, growers=growers)
    trial = dataclasses.replace(records.trial, design=design)
    return dataclasses.replace(records, trial=trial)


def balanced(growers: int = 5, blocks: int = 2, units: int = 2, seed: int = 3) -> Records:
    """Three mixes whose differences vary from grower to grower."""
    rng = np.random.default_rng(seed)
    names = tuple(f"Grower {number}" for number in range(growers))
    rows = [(name, block, mix) for name in names for block in range(blocks) for mix in "ABC"
            for _ in range(units)]  # fmt: skip
    here = {(name, mix): rng.normal(0, 40) for name in names for mix in "ABC"}
    level = {name: rng.normal(400, 90) for name in names}
    shelf = {(name, block): rng.normal(0, 40) for name in names for block in range(blocks)}
    grams = [
        level[name] + shelf[name, block] + 30 * (mix == "B") + here[name, mix] + rng.normal(0, 25)
        for name, block, mix in rows
    ]
    made = records_of(
        [mix for *_, mix in rows],
        grams,
        block=[f"{name}, shelf {block}" for name, block, _ in rows],
    )
    return at_growers(made, names)


def test_a_published_trial_at_eight_sites():
    """Andrews & Herzberg (1985), maize in Antigua: 12 treatments in blocks at 8 sites, one plot
    lost, analysed by general statistics software with site, site x block and site x treatment."""
    truth = case("bank/o-lmm-15-antigua-multisite")["results"]
    data = frame("bank/antigua")
    data = data[data["harvwt"] > 0]
    records = records_of(
        [str(one) for one in data["trt"]], data["harvwt"].to_numpy(),
        block=[f"{site}, {block}" for site, block in zip(data["site"], data["block"], strict=True)],
        control="0",
    )  # fmt: skip
    records = at_growers(records, tuple(data["site"].unique()))
    answer = yield_answer(records, unit_story(records), STARTED, level=0.95)
    found = dict(answer.model.variances)
    known = {"grower": "site", "grower:treatment": "site:trt", "block": "site:block",
             "residual": "Residual"}  # fmt: skip
    for ours, theirs in known.items():
        assert found[ours] == pytest.approx(truth["varcomp"][theirs], rel=1e-5)
    for one in answer.estimates:
        name = f"trt{one.treatment}"
        assert one.value == pytest.approx(truth["fixef"][name], rel=1e-6)
        assert one.df == pytest.approx(truth["kr_df"][name], rel=1e-5)
        assert (one.unit_counted, one.units) == ("grower", 8)


def test_balanced_growers_are_judged_by_their_interplay():
    """The classical test: treatments over growers x treatments, on (5 - 1)(3 - 1) df."""
    records = balanced()
    answer = yield_answer(records, unit_story(records), STARTED, level=0.95)
    cells = records.bags["total_g"].to_numpy().reshape(5, 2, 3, 2).mean(axis=(1, 3))
    by_mix = cells - cells.mean(axis=1, keepdims=True) - cells.mean(axis=0) + cells.mean()
    error = (by_mix**2).sum() / 8
    one = answer.estimates[0]
    assert one.value == pytest.approx(cells[:, 1].mean() - cells[:, 0].mean())
    assert one.df == pytest.approx(8, rel=1e-5)
    from scipy.stats import t

    half = t.ppf(0.975, 8) * np.sqrt(2 * error / 5)
    assert one.high_alone - one.low_alone == pytest.approx(2 * half, rel=1e-5)


def test_one_of_each_at_every_grower_is_judged_by_what_is_left():
    records = balanced(growers=6, blocks=1, units=1)
    answer = yield_answer(records, unit_story(records), STARTED, level=0.95)
    assert answer.sample.random == ("grower",)
    assert answer.estimates[0].df == pytest.approx(10, rel=1e-5)
    assert answer.estimates[0].unit_counted == "grower"


def test_the_whole_analysis_tells_growers():
    records = balanced()
    analysis = analyse(records)
    names = {check.name for check in analysis.findings[0].checks}
    assert "without any one grower" in names
    assert "by dealing the labels out again" not in names
    assert analysis.findings[0].p_rerandomised is not None
    assert "one grower is one try" in analysis.unit.why


def test_growers_whose_names_begin_alike():
    design = dataclasses.replace(balanced().trial.design, growers=("Ana", "Ana, east"))
    assert design.grower_of("Ana, east, shelf 1") == "Ana, east"
    assert design.grower_of("Ana, shelf 1") == "Ana"


@pytest.mark.parametrize("seed", [33, 38])
def test_less_than_one_degree_of_freedom_gives_no_range(seed, monkeypatch):
    """Of twelve bags at three growers eight or nine are left: some growers lack a side."""
    rng = np.random.default_rng(seed)
    names = ("Grower 0", "Grower 1", "Grower 2")
    rows = [(name, block, mix) for name in names for block in range(2) for mix in "AB"]
    left = rng.random(len(rows)) < 0.55
    rows = [row for row, there in zip(rows, left, strict=True) if there]
    level = {name: rng.normal(400, 90) for name in names}
    grams = [level[name] + rng.normal(0, 60) for name, *_ in rows]
    blocks = [f"{name}, shelf {block}" for name, block, _ in rows]
    records = at_growers(records_of([mix for *_, mix in rows], grams, block=blocks), names)

    def told():
        return yield_answer(records, unit_story(records), STARTED, level=0.95).estimates[0]

    assert "nothing shows how much is luck" in told().withheld
    assert np.isnan([told().low, told().high]).all()
    monkeypatch.setattr("analyses.comparison.LEAST_DF", 0.0)
    assert told().df < 0.99
    assert told().high - told().low > 3_000  # grams, of bags of about 400
