"""What to do next, and how many units a repeat would want."""

from __future__ import annotations

import math

import numpy as np
import pytest

from reports.wording.next_step import next_step, plan_step, units_to_settle
from tests.reports.invented import estimate, finding, plan

# Half of a 95 % interval is 1.95996 standard errors, and 8 in 10 is 0.84162 of them more: tables
# of the standard normal distribution; (1.96 + 0.84) / d is the usual sum for a sample size.
LONGER = (1.95996 + 0.84162) / 1.95996


def known(*limits, **more):
    """An estimate with a normal interval."""
    return estimate(*limits, df=None, **more)


def test_units_grow_with_the_square_of_the_width():
    wide = finding(known(100.0, 40.0, 160.0, units=48), "better", 80.0)
    assert units_to_settle(wide) == pytest.approx(48 * (LONGER * 60 / 20) ** 2, rel=1e-4)


def test_a_repeat_of_so_many_settles_it_eight_times_in_ten():
    """Trials drawn about the estimate, with the interval that so many units give; seed 3."""
    told = finding(known(100.0, 40.0, 160.0, units=48), "better", 60.0)
    share = 48 / units_to_settle(told)
    half, error = 60 * share**0.5, 60 / 1.95996 * share**0.5
    repeats = np.random.default_rng(3).normal(100.0, error, 100_000)
    assert np.mean(repeats - half >= 60.0) == pytest.approx(0.8, abs=0.005)


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
    told = finding(known(value, low, high, units=40), claim, 60.0)
    reach = LONGER * (high - low) / 2
    assert units_to_settle(told) == pytest.approx(max(40.0, 40 * (reach / needed) ** 2), rel=1e-4)


def test_a_repeat_is_rounded_up_to_whole_shelves():
    told = finding(known(30.0, -5.0, 65.0, units=32), "better", 60.0)
    step = plan_step(told, plan())
    # 32 (1.4294 x 35/30)^2 = 88.99 and a shelf holds 4.
    assert step.units == 92
    assert "repeat with about 92 bags (this trial had 32)" in next_step(told, plan())
    assert "rough guess" in next_step(told, plan())


def test_a_hopeless_repeat_is_not_counted_out():
    told = finding(estimate(60.0, 20.0, 100.0), "better", 60.0)
    assert math.isinf(units_to_settle(told))
    assert "more than ten times as many bags as now (48)" in next_step(told, plan())


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
