"""Rounding and units. The examples are those of the project's own rule for the page."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.wording.numbers import measure, number, percentage, round_span, step_for


@pytest.mark.parametrize(
    ("value", "half_width", "said"),
    [(63.4, 31.0, "63"), (812.0, 140.0, "810"), (0.4567, 0.083, "0.457"), (15.04, 1.3, "15.0")],
)
def test_two_figures_of_the_half_width_decide(value, half_width, said):
    assert number(value, step_for(half_width)) == said


# JCGM 100:2008 (GUM), 7.2.6: "10.05762 ohm with a standard uncertainty of 27 milliohm" is 10.058.
def test_the_guide_s_example():
    assert number(10.05762, step_for(0.027)) == "10.058"


@pytest.mark.parametrize(
    ("value", "half_width", "said"),
    [(15.4, 9.0, "15 %"), (4.56, 0.8, "4.6 %"), (4.56, 12.0, "5 %"), (9.96, math.nan, "10 %"),
     (0.04, math.nan, "0.0 %")],
)  # fmt: skip
def test_percentages_have_decimals_only_under_ten(value, half_width, said):
    assert percentage(value, half_width) == said


# The avoirdupois pound: International Yard and Pound Agreement, 1959.
@pytest.mark.parametrize(
    ("weights", "grams", "half_width", "said"),
    [
        ("g", 63.4, 31.0, "63 g"),
        ("kg", 1234.0, 310.0, "1.23 kg"),
        ("oz", 63.8, 10.0, "2.25 oz"),
        ("oz", 340.0, 300.0, "12 oz"),
        ("lb", 907.18474, 120.0, "2 lb"),
    ],
)
def test_weights_are_said_in_the_unit_of_the_plan(weights, grams, half_width, said):
    unit = measure("g", weights)
    step = step_for(half_width / unit.per, finest=unit.finest)
    assert unit.say(grams / unit.per, step) == said


def test_what_is_not_a_number_is_a_dash():
    assert number(math.nan, 1.0) == "–"
    assert number(math.inf, 1.0) == "∞"


@given(st.floats(-1000, 1000), st.floats(0.01, 500), st.floats(0.01, 500), st.floats(0.1, 300))
def test_limits_stay_on_their_side_of_every_mark(value, below, above, margin):
    low, high = value - below, value + above
    told = round_span(value, low, high, marks=(0.0, margin, -margin))
    finest = step_for((high - low) / 2) / 1000
    for limit, shown in ((low, told.low), (high, told.high)):
        for mark in (0.0, margin, -margin):
            if abs(limit - mark) > finest:
                assert (limit > mark) == (shown > mark)


@given(st.floats(-1e4, 1e4), st.floats(0.01, 1e4))
def test_rounding_moves_nothing_by_more_than_half_a_step(value, half_width):
    told = round_span(value, value - half_width, value + half_width)
    # Half a step is a twentieth of the half-width at the most.
    assert abs(told.value - value) <= 0.0501 * half_width * 1.01


def test_doubt_of_ninety_nine_and_a_half_counts_as_a_hundred():
    assert step_for(0.996) == pytest.approx(0.1)
    assert step_for(99.6) == 10.0
