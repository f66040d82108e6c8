"""Simulated days are those of the looks, and lost units were looked at until they were lost."""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import pytest

from tests.trials.plans import plan
from trials.assumptions import Assumptions
from trials.designs import draw
from trials.simulate import Truth, draw_trials, places
from trials.simulated_days import draw_days, look_days
from trials.simulated_records import to_records

CROP = Assumptions(contaminated=0.3, late_losses=0.3, missing=0, cv_days_block=0)


def test_looks_of_the_plan_or_every_other_day():
    trial = plan()
    assert look_days(trial, CROP)[:3].tolist() == [2, 4, 6]
    assert look_days(dataclasses.replace(trial, looks=7), CROP)[:2].tolist() == [7, 14]
    listed = dataclasses.replace(
        trial, start=dt.date(2026, 3, 1), looks=(dt.date(2026, 3, 4), dt.date(2026, 3, 11))
    )
    assert look_days(listed, CROP).tolist() == [3, 10]


def test_half_are_seen_by_the_median_and_spread_as_told():
    """Log-normal: the share seen by day x is Phi(log(x / median) / spread)."""
    units = np.zeros(50, np.intp)
    nobody = np.zeros((50, 400), bool)
    days = draw_days(
        units, units, (20.0,), CROP, np.arange(1.0, 400.0), nobody, nobody,
        np.random.default_rng(3),
    )  # fmt: skip
    assert (days.seen <= 20).mean() == pytest.approx(0.5, abs=0.02)
    assert (days.seen <= 17).mean() == pytest.approx(0.139, abs=0.015)  # Phi(-1.0835)
    assert np.isnan(days.lost_on).all()


def test_records_hold_the_days():
    trial = plan(blocks=3, units=8, aim='outcome = "days to pins"')
    layout = draw(trial)
    truth = Truth(means=(400, 400), lost=(0.3, 0.3), days=(28.0, 20.0))
    drawn = draw_trials(
        places(trial, layout), truth, CROP, flushes=2, trials=3,
        generator=np.random.default_rng(1), looks=look_days(trial, CROP),
    )  # fmt: skip
    bags = to_records(trial, layout, drawn, 0).bags
    day = (bags["first_pins"] - bags["spawned"]).dt.days
    gone = (bags["lost_on"] - bags["spawned"]).dt.days
    assert (day.dropna() % 2 == 0).all()
    assert bags.loc[bags["fate"] == "finished", "first_pins"].notna().all()
    lost = bags["fate"] == "contaminated"
    assert lost.any()
    assert gone[lost].notna().all()
    assert (day[lost].dropna() < gone[lost][day[lost].notna()]).all()
    assert day[bags["treatment"] == "T1"].mean() > day[bags["treatment"] == "T2"].mean() + 4
