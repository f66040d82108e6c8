"""Trends over the places, held against classical regressions of the same numbers."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy import stats

from analyses.layouts.place_trend import place_story
from analyses.unit import unit_story
from tests.analyses.made import records_of

BLOCKS, PLACES = 8, 4


def laid_out(grams):
    """Records of two treatments in blocks of four, the treatments turned from block to block."""
    block = np.repeat([f"shelf {n}" for n in range(1, BLOCKS + 1)], PLACES)
    treatment = ["AB"[(place + number) % 2] for number in range(BLOCKS) for place in range(PLACES)]
    records = records_of(treatment, np.ravel(grams), block=list(block))
    bags = records.bags.assign(position=np.tile(np.arange(1, PLACES + 1), BLOCKS))
    slots = tuple(
        dataclasses.replace(slot, position=int(place))
        for slot, place in zip(records.layout.slots, bags["position"], strict=True)
    )
    layout = dataclasses.replace(records.layout, slots=slots)
    return dataclasses.replace(records, bags=bags, layout=layout)


def grams(seed=4, by_block=0.0, by_place=0.0):
    rng = np.random.default_rng(seed)
    block, place = np.arange(BLOCKS)[:, None], np.arange(PLACES)[None, :]
    return (
        400 + rng.normal(0, 25, (BLOCKS, 1)) + rng.normal(0, 20, (BLOCKS, PLACES))
        + by_block * block + by_place * place
    )  # fmt: skip


def told(records):
    return place_story(records, unit_story(records))


def test_a_trend_over_blocks_is_the_regression_of_block_means():
    """Balanced blocks: the slope, its error and df are those of the line through block means.

    Classical split-plot analysis of variance: what differs from block to block is held against
    the blocks (Yates 1935, Suppl J R Stat Soc 2, 181-247).
    """
    weights = grams()
    trend = told(laid_out(weights)).trends[0]
    line = stats.linregress(np.arange(1, BLOCKS + 1), weights.mean(axis=1))
    assert trend.along == "blocks"
    assert trend.slope_g == pytest.approx(line.slope, rel=1e-6)
    assert trend.df == pytest.approx(BLOCKS - 2, rel=1e-6)
    assert trend.p == pytest.approx(line.pvalue, rel=1e-5)
    half = stats.t.ppf(0.975, BLOCKS - 2) * line.stderr
    assert trend.high_g - trend.slope_g == pytest.approx(half, rel=1e-5)


def test_a_trend_along_blocks_is_the_regression_within_them():
    """Balanced blocks: least squares on block, treatment and place, by NumPy."""
    weights = grams()
    records = laid_out(weights)
    trend = told(records).trends[1]
    frame = records.bags
    columns = [
        *(np.where(frame["block"] == name, 1.0, 0.0) for name in frame["block"].unique()),
        np.where(frame["treatment"] == "B", 1.0, 0.0), frame["position"].to_numpy(float),
    ]  # fmt: skip
    x, y = np.column_stack(columns), frame["total_g"].to_numpy()
    beta, rest, rank, _ = np.linalg.lstsq(x, y)
    df = len(y) - rank
    error = np.sqrt(float(rest[0]) / df * np.linalg.inv(x.T @ x)[-1, -1])
    assert trend.along == "places"
    assert trend.slope_g == pytest.approx(beta[-1], rel=1e-6)
    assert trend.df == pytest.approx(df, rel=1e-4)
    assert trend.high_g - trend.slope_g == pytest.approx(stats.t.ppf(0.975, df) * error, rel=1e-4)


def test_a_strong_trend_is_clear_and_nothing_else_is():
    story = told(laid_out(grams(by_place=30.0)))
    assert [one.along for one in story.clear] == ["places"]
    assert told(laid_out(grams())).clear == ()


def test_two_directions_are_adjusted_for():
    """Holm (1979): the smaller p is doubled, the larger one is not below it."""
    trends = told(laid_out(grams(by_block=4.0))).trends
    small, large = sorted(trends, key=lambda one: one.p)
    assert small.p_holm == pytest.approx(min(1.0, 2 * small.p))
    assert large.p_holm == pytest.approx(max(large.p, small.p_holm))


@pytest.mark.slow
def test_no_gradient_is_called_one_as_seldom_as_stated():
    """400 trials without a trend, seed 11: at most one in twenty, and three errors of that."""
    rng = np.random.default_rng(11)
    seeds = rng.integers(1, 2**31, 400)
    wrong = sum(bool(told(laid_out(grams(int(seed)))).clear) for seed in seeds)
    assert wrong <= 20 + 3 * np.sqrt(400 * 0.05 * 0.95)


def test_what_is_left_adds_up_to_nothing_in_each_treatment():
    records = laid_out(grams())
    left = told(records).left_g
    for code in ("A", "B"):
        mine = records.bags.loc[records.bags["treatment"] == code, "code"]
        assert sum(left[one] for one in mine) == pytest.approx(0.0, abs=1e-9)


def test_lost_units_are_left_out():
    records = laid_out(grams())
    bags = records.bags.copy()
    bags.loc[3, ["fate", "total_g"]] = ["contaminated", 0.0]
    story = told(dataclasses.replace(records, bags=bags))
    assert bags["code"][3] not in story.left_g
    assert len(story.left_g) == BLOCKS * PLACES - 1


def test_two_blocks_make_no_trend():
    block = ["shelf 1"] * 2 + ["shelf 2"] * 2
    records = records_of(list("ABAB"), [400, 420, 390, 430], block=block)
    bags = records.bags.assign(position=[1, 2, 1, 2])
    assert told(dataclasses.replace(records, bags=bags)).trends == ()
