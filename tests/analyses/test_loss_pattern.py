"""When units were lost, and what was seen."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest

from analyses.losses.pattern import loss_pattern
from analyses.models.times.known_times import kaplan_meier
from analyses.unit import unit_story
from tests.analyses.losses import batches, dated, lost_records

SPAWNED, OPENED = "2026-03-01", "2026-03-20"


def pattern_of(records):
    return loss_pattern(records, unit_story(records), level=0.95)


def three_lost():
    """Six bags a side; three of T lost: colonising, after opening, between flushes."""
    records = lost_records([("T", 3, 6), ("C", 0, 6)])
    lost_on = ["2026-03-10", "2026-03-22", "2026-04-10"] + [None] * 9
    opened = [None, OPENED, OPENED] + [OPENED] * 9
    records = dated(records, spawned=[SPAWNED] * 12, lost_on=lost_on, opened=opened)
    flushes = records.flushes.assign(grams=[np.nan, np.nan, 300.0] + [400.0] * 9)
    flushes["date"] = pd.Series([pd.Timestamp("2026-04-01")] * 12)
    seen = ["Green  patch", "green patch", "a smell of socks", *[""] * 9]
    bags = records.bags.assign(seen=seen)
    return dataclasses.replace(records, bags=bags, flushes=flushes)


def test_each_stage_is_found_from_the_days():
    found = pattern_of(three_lost())
    stages = {one.stage: one.lost for one in found.stages if one.treatment == "T"}
    assert stages == {
        "while colonising": 1,
        "after opening, before the first picking": 1,
        "between flushes": 1,
    }
    assert all(one.lost == 0 for one in found.stages if one.treatment == "C")


def test_without_any_day_the_stage_is_not_guessed():
    records = lost_records([("T", 2, 4), ("C", 0, 4)])
    flushes = records.flushes.assign(grams=np.nan)
    found = pattern_of(dataclasses.replace(records, flushes=flushes))
    assert {one.stage for one in found.stages} == {"not known"}
    assert found.undated == 2
    assert found.curves == ()


def test_what_was_seen_stays_in_the_growers_words():
    found = [(one.seen, one.lost) for one in pattern_of(three_lost()).seen]
    assert found == [("Green patch", 2), ("a smell of socks", 1)]


def test_the_curve_is_kaplan_and_meiers():
    found = pattern_of(three_lost())
    mine = next(one for one in found.curves if one.treatment == "T")
    # Three are lost on days 9, 21 and 40; the others are followed to their picking, day 31.
    curve = kaplan_meier([9, 21, 40, 31, 31, 31], [True] * 3 + [False] * 3)
    assert mine.days == pytest.approx(curve.times)
    assert mine.lost == pytest.approx(1 - curve.survival)
    assert mine.left == (31.0, 31.0, 31.0)
    assert np.isfinite(mine.high[0])
    assert found.log_rank_p is not None


def test_bags_that_left_otherwise_are_censored_at_their_day():
    records = three_lost()
    bags = records.bags.copy()
    bags.loc[4, "fate"] = "lost otherwise"
    bags.loc[4, "lost_on"] = pd.Timestamp("2026-03-05")
    mine = pattern_of(dataclasses.replace(records, bags=bags)).curves[0]
    assert mine.left[0] == 4.0
    # Five are left when the first is lost on day 9.
    assert mine.lost[mine.days.index(9.0)] == pytest.approx(1 / 5)


def test_batches_have_curves_without_limits_or_test():
    records = lost_records(batches("T", [2, 1, 0]) + batches("C", [1, 0, 1], first=4), by="batch")
    lost = (records.bags["fate"] == "contaminated").tolist()
    records = dated(
        records, spawned=[SPAWNED] * 60, lost_on=["2026-03-12" if one else None for one in lost]
    )
    found = pattern_of(records)
    assert found.log_rank_p is None
    assert all(np.isnan(limit) for one in found.curves for limit in one.high)


def test_no_loss_no_pattern():
    assert pattern_of(lost_records([("T", 0, 4), ("C", 0, 4)])) is None
