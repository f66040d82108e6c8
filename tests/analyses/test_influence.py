"""Residuals and influence, held against plain sums."""

from __future__ import annotations

import numpy as np
import pytest

from analyses.influence import left_out, unit_residuals
from analyses.unit import unit_story
from tests.analyses.made import records_of

GRAMS = [400.0, 380.0, 430.0, 410.0, 395.0, 470.0, 520.0, 455.0, 480.0, 200.0]
TREATMENT = list("AAAAABBBBB")


@pytest.fixture(scope="module")
def records():
    return records_of(TREATMENT, GRAMS)


def test_residuals_are_what_the_mean_leaves(records):
    found = unit_residuals(records, unit_story(records))
    values = np.array(GRAMS).reshape(2, 5)
    left = (values - values.mean(axis=1, keepdims=True)).ravel()
    spread = np.sqrt((left**2).sum() / 8)
    assert [one.residual_g for one in found] == pytest.approx(list(left))
    assert [one.scaled for one in found] == pytest.approx(list(left / spread))
    assert [one.fitted_g + one.residual_g for one in found] == pytest.approx(GRAMS)


def test_scores_are_near_the_expected_order_statistics(records):
    """Harter (1961), Biometrika 48, 151-165, table 1, n = 10 (from memory); Blom's are near."""
    expected = [-1.5388, -1.0014, -0.6561, -0.3758, -0.1227]
    scores = sorted(one.score for one in unit_residuals(records, unit_story(records)))
    assert scores[:5] == pytest.approx(expected, abs=0.01)
    assert scores == pytest.approx([-one for one in reversed(scores)])
    order = sorted(unit_residuals(records, unit_story(records)), key=lambda one: one.residual_g)
    assert [one.score for one in order] == scores


def test_the_difference_without_each_unit_is_that_of_the_means_left(records):
    found = {one.name: one for one in left_out(records, unit_story(records)).units}
    values, sides = np.array(GRAMS), np.array(TREATMENT)
    for at, code in enumerate(records.bags["code"]):
        kept = np.arange(len(values)) != at
        means = [values[kept & (sides == side)].mean() for side in "BA"]
        assert found[code].differences_g == pytest.approx((means[0] - means[1],))
        assert found[code].treatment == sides[at]


def test_the_one_that_moves_it_most_comes_first(records):
    moved = [one.name for one in left_out(records, unit_story(records)).units]
    assert moved[0] == records.bags["code"][9]
    assert len(moved) == len(GRAMS)
    assert left_out(records, unit_story(records)).whole_g == pytest.approx((22.0,))


def test_where_batches_count_whole_batches_are_left_out():
    batch = ["m1", "m1", "m2", "m2", "m3", "m3", "m4", "m4"]
    made = records_of(list("AAAABBBB"), [400, 410, 380, 390, 430, 440, 500, 510], batch=batch)
    found = {one.name: one.differences_g[0] for one in left_out(made, unit_story(made)).units}
    assert found == pytest.approx({"m1": 85.0, "m2": 65.0, "m3": 110.0, "m4": 40.0})


def test_values_all_alike_leave_nothing_to_show():
    made = records_of(list("AABB"), [400.0] * 4)
    assert unit_residuals(made, unit_story(made)) == ()
