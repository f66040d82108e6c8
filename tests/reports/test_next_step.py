"""What to do next, and how many units a repeat would want."""

from __future__ import annotations

import math

import pytest

from reports.wording.next_step import next_step, plan_step, units_to_settle
from tests.reports.invented import estimate, finding, plan


def test_units_grow_with_the_square_of_the_width():
    wide = finding(estimate(100.0, 40.0, 160.0, units=48), "better", 80.0)
    assert units_to_settle(wide) == pytest.approx(48 * (60 / 20) ** 2)


@pytest.mark.parametrize(
    ("claim", "value", "low", "high", "needed"),
    [
        ("better", 30.0, -20.0, 80.0, 30.0),  # a gain would show before 60 could be ruled out
        ("better", 10.0, -60.0, 80.0, 50.0),  # 60 would be ruled out first
        ("better", -30.0, -120.0, 60.0, 90.0),
        ("no worse", -20.0, -80.0, 40.0, 40.0),
        ("same", 20.0, -40.0, 80.0, 40.0),
        ("same", 70.0, 20.0, 120.0, 10.0),
    ],
)
def test_the_distance_is_to_the_nearest_decision(claim, value, low, high, needed):
    told = finding(estimate(value, low, high, units=40), claim, 60.0)
    half_width = (high - low) / 2
    assert units_to_settle(told) == pytest.approx(max(40.0, 40 * (half_width / needed) ** 2))


def test_a_repeat_is_rounded_up_to_whole_shelves():
    told = finding(estimate(30.0, -5.0, 65.0, units=32), "better", 60.0)
    step = plan_step(told, plan())
    # 32 (35/30)^2 = 43.6 and a shelf holds 4.
    assert step.units == 44
    assert "repeat with about 44 bags (this trial had 32)" in next_step(told, plan())
    assert "rough guess" in next_step(told, plan())


def test_a_hopeless_repeat_is_not_counted_out():
    told = finding(estimate(60.0, 20.0, 100.0), "better", 60.0)
    assert math.isinf(units_to_settle(told))
    assert "More than ten times as many" in next_step(told, plan())


@pytest.mark.parametrize(
    ("claim", "low", "high", "action"),
    [
        ("better", 70, 100, "adopt"),
        ("better", -100, -70, "stop"),
        ("better", -20, 20, "choose"),
        ("better", -150, 30, "stop"),
        ("better", -40, -10, "stop"),
        ("no worse", -20, 100, "adopt"),
        ("no worse", -100, -70, "stop"),
        ("same", -20, 20, "choose"),
        ("same", 70, 100, "adopt"),
        ("same", -100, -70, "stop"),
    ],
)
def test_each_settled_verdict_has_its_advice(claim, low, high, action):
    told = finding(estimate((low + high) / 2, low, high), claim, 60.0)
    assert plan_step(told, plan()).action == action


def test_fewer_losses_are_the_good_side():
    told = finding(
        estimate(-9.0, -14.0, -4.0, outcome="contamination", unit="bags in 100"), "better", 3.0
    )
    assert plan_step(told, plan()).action == "adopt"
