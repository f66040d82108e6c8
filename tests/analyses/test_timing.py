"""Days to each stage through the main path, and the looks that they are known by."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from itertools import combinations

import numpy as np
import pandas as pd
import pytest

from analyses.questions import analyse
from analyses.times.looks import look_gap, stage_looks
from analyses.times.time_model import compared_times, fit_times
from tests.analyses.made import records_of
from tests.reference.load import case, frame

START = pd.Timestamp("2026-03-02")
PINS = 'outcome = "days to pins"'
WHITE = 'outcome = "days to colonise"'


def timed(treatment, days, *, lost=None, looks=None, column="colonised", aim=WHITE, block=None):
    """Records with one stage dated, or a loss where `lost` is true."""
    lost = np.zeros(len(days), bool) if lost is None else np.asarray(lost, bool)
    grams = np.full(len(days), 100.0)
    fate = np.where(lost, "contaminated", "finished")
    records = records_of(treatment, grams, fate=fate, block=block, aim=aim)
    bags = records.bags
    dates = START + pd.to_timedelta(np.asarray(days, float), unit="D")
    bags["spawned"] = START
    bags[column] = pd.Series(dates).where(~lost)
    bags["lost_on"] = pd.Series(dates).where(lost)
    records.flushes.loc[records.flushes["code"].isin(bags.loc[lost, "code"]), "grams"] = np.nan
    return dataclasses.replace(records, trial=dataclasses.replace(records.trial, looks=looks))


def test_leukaemia_data_as_published() -> None:
    """Miller (1997), p. 49, by way of reference time_aml: curve, medians, log-rank."""
    data, known = frame("time_aml"), case("time_aml")
    group = next(name for name in data.columns if name not in ("time", "status"))
    data[group] = data[group].str[:4]  # short enough for codes
    records = timed(data[group], data["time"], lost=data["status"] == 0, looks=1)
    (stage,) = [one for one in analyse(records).times if one.stage == "colonised"]
    assert stage.log_rank[0] == pytest.approx(known["logrank"], rel=1e-9)
    assert stage.log_rank[2] == pytest.approx(known["logrank_p"], rel=1e-9)
    medians = {name: value for name, value in zip(data[group].unique(), known["median"],
                                                  strict=True)}  # fmt: skip
    for curve in stage.curves:
        assert curve.between[0] == medians[curve.treatment]
    for curve, km in zip(stage.curves, known["km"], strict=True):
        mine = dict(zip(curve.right, curve.reached, strict=True))
        for day, survival in zip(km["time"], km["surv"], strict=True):
            assert 1 - mine[day] == pytest.approx(survival, abs=1e-12)


@pytest.mark.parametrize("shape", ["weibull", "lognormal"])
def test_cosmesis_ratio_of_times_as_the_reference(shape) -> None:
    """Finkelstein (1986), as 95 rows of KMsurv: reference interval_breast_cosmesis."""
    data, known = frame("interval_breast_cosmesis"), case("interval_breast_cosmesis")[shape]
    left, right = (data[name] for name in _ends(data))
    looks = pd.DataFrame(
        {
            "treatment": data[_group(data)].astype(str), "block": "",
            "left": left.fillna(0.0), "right": right.fillna(math.inf), "seen": right.notna(),
        }
    )  # fmt: skip
    codes = sorted(looks["treatment"].unique())
    (found,) = compared_times(fit_times(looks, codes, shape=shape), 0.95)
    assert found.log_ratio == pytest.approx(known["coef"][1], rel=1e-6)
    assert found.error == pytest.approx(math.sqrt(known["vcov"][1][1]), rel=1e-6)


def _ends(data):
    return [name for name in data.columns if name in ("lower", "left", "l", "upper", "right", "r")]


def _group(data):
    return next(name for name in data.columns if name not in _ends(data))


def test_exact_days_give_the_t_of_their_logarithms() -> None:
    """Without censoring the log-normal model is a two-sample t test of log days (fine looks)."""
    rng = np.random.default_rng(3)
    log_days = np.repeat([3.0, 3.15], 10) + rng.normal(0, 0.08, 20)
    exact = np.exp(log_days)
    looks = pd.DataFrame(
        {"treatment": ["a"] * 10 + ["b"] * 10, "block": "", "left": exact, "right": exact,
         "seen": True}
    )  # fmt: skip
    from analyses.times.time_model import day_difference

    found = day_difference(fit_times(looks, ["a", "b"]), "b", 0.95)
    a, b = log_days[:10], log_days[10:]
    error = math.sqrt((a.var(ddof=1) + b.var(ddof=1)) / 10)
    reach = 2.10092204024  # t .975 on 18 df
    low = 100 * math.expm1(b.mean() - a.mean() - reach * error)
    assert found.df == 18
    assert found.percent[0] == pytest.approx(100 * math.expm1(b.mean() - a.mean()), rel=1e-6)
    assert found.percent[1] == pytest.approx(low, rel=1e-6)


@pytest.mark.parametrize(("days", "told"), [(1, "daily"), (7, "every 7 days")])
def test_looks_every_day_and_every_week(days, told) -> None:
    rng = np.random.default_rng(4)
    true = np.repeat([18.0, 23.0], 14) + rng.normal(0, 4.0, 28)
    seen = days * np.ceil(true / days)
    analysis = analyse(timed(["a"] * 14 + ["b"] * 14, seen, looks=days))
    (finding,) = [one for one in analysis.findings if one.planned]
    assert finding.id == "days-to-colonise-median-b"
    assert told in finding.estimate.method
    assert finding.estimate.low < 5.0 < finding.estimate.high
    (stage,) = [one for one in analysis.times if one.stage == "colonised"]
    assert (stage.log_rank is not None) == (days == 1)
    gaps = {round(r - left) for c in stage.curves for left, r in zip(c.left, c.right, strict=True)
            if math.isfinite(r)}  # fmt: skip
    assert gaps == ({0} if days == 1 else {7})


def test_looks_too_far_apart_are_withheld() -> None:
    """All of one side between the same two looks: any small spread fits as well as another."""
    days = [21] * 7 + [21, 21, 28, 28, 28, 21, 28]
    analysis = analyse(timed(["a"] * 7 + ["b"] * 7, days, looks=7))
    (finding,) = [one for one in analysis.findings if one.planned]
    assert finding.verdict == "withheld"
    assert "looks are too far apart" in finding.estimate.withheld


def test_looks_that_are_not_told_are_read_off_the_days() -> None:
    records = timed(["a", "b"] * 4, [14, 21, 14, 28, 21, 21, 14, 28])
    gap = look_gap(records)
    assert (gap.days, gap.told) == (7, False)
    rows = stage_looks(records, "colonised", gap)
    assert rows.loc[0, ["left", "right"]].tolist() == [7.0, 14.0]


def test_listed_looks_say_which_came_before() -> None:
    days = tuple((START + pd.Timedelta(days=n)).date() for n in (5, 12, 14, 20))
    rows = timed(["a", "b"] * 2, [12, 14, 20, 5], looks=days)
    found = stage_looks(rows, "colonised", look_gap(rows))
    assert found["left"].tolist() == [5.0, 12.0, 14.0, 0.0]
    assert isinstance(days[0], dt.date)


def test_lost_bags_are_watched_until_their_loss_and_later_stages_bound_earlier_ones() -> None:
    records = timed(["a", "b"] * 3, [15, 16, 9, 17, 18, 16], lost=[0, 0, 1, 0, 0, 0], looks=1)
    bags = records.bags
    bags.loc[4, "first_pins"] = bags.loc[4, "colonised"]
    bags.loc[4, "colonised"] = pd.NaT
    rows = stage_looks(records, "colonised", look_gap(records))
    assert rows.loc[2, ["left", "right"]].tolist() == [9.0, math.inf]
    assert rows.loc[4, ["left", "right", "seen"]].tolist() == [0.0, 18.0, False]


def test_pins_that_came_for_too_few_are_withheld() -> None:
    records = timed(["a", "b"] * 3, [15, 16, 9, 17, 8, 16], lost=[0, 0, 1, 0, 1, 0], aim=PINS,
                    column="first_pins", looks=1)  # fmt: skip
    (finding,) = [one for one in analyse(records).findings if one.planned]
    assert finding.verdict == "withheld"
    assert "fewer than two days" in finding.estimate.withheld


def test_whole_batches_are_dealt_out_again() -> None:
    """Four batches of three bags a side: every one of the 70 ways, counted here by hand."""
    days = [14, 15, 16, 15, 16, 18, 17, 17, 19, 16, 16, 17, 18, 19, 20, 17, 19, 20, 21, 19, 20, 18,
            20, 22]  # fmt: skip
    treatment = ["C"] * 12 + ["T"] * 12
    records = timed(treatment, days, looks=1)
    names = [f"batch {n // 3}" for n in range(24)]
    records.bags["batch"] = names
    records = dataclasses.replace(records, flushes=records.flushes.assign(batch=names))
    (found,) = [one for one in analyse(records).findings if one.estimate.outcome != "yield"
                and one.estimate.outcome == "days to colonise"]  # fmt: skip
    assert found.estimate.unit_counted == "batch"
    means = np.array(days, float).reshape(8, 3).mean(axis=1)
    seen = abs(means[4:].mean() - means[:4].mean())
    ways = [abs(means[list(one)].mean() - means[[n for n in range(8) if n not in one]].mean())
            for one in combinations(range(8), 4)]  # fmt: skip
    expected = np.mean([way >= seen - 1e-9 for way in ways])
    assert found.p_rerandomised == pytest.approx(expected)
    assert expected < 0.2
