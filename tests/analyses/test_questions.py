"""From records to findings: the unit that counts, what was planned, and hard cases."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace

import numpy as np
import pytest

from analyses.questions import analyse, questions
from tests.analyses.made import records_of
from trials.trial import Aim, Margin

RNG = np.random.default_rng(7)
PAIR = ["A", "B"] * 8
SHELF = [str(1 + place // 4) for place in range(16)]


def made(**changes):
    grams = RNG.normal(400, 40, 16) + 60 * np.array([one == "B" for one in PAIR])
    return records_of(PAIR, grams, **{"block": SHELF, **changes})


def only(analysis, start: str):
    return next(one for one in analysis.findings if one.id.startswith(start))


def test_what_the_plan_asks_comes_first_and_the_rest_is_explored() -> None:
    analysis = analyse(made())
    assert [one.id for one in analysis.findings] == [
        "yield-started-B", "yield-fruited-B", "contamination-started-B",
    ]  # fmt: skip
    assert [one.planned for one in analysis.findings] == [True, False, False]
    assert "leaves losses out" in analysis.findings[1].explored_because
    assert "asked about yield" in analysis.findings[2].explored_because


def test_a_contamination_plan_asks_that_first() -> None:
    aim = 'outcome = "contamination"\nclaim = "no worse"\nworthwhile = "5 in 100"'
    analysis = analyse(made(aim=aim))
    first = analysis.findings[0]
    assert (first.id, first.claim, first.worthwhile) == ("contamination-started-B", "no worse", 5)
    assert first.planned
    assert not any(one.planned for one in analysis.findings[1:])


def test_without_a_lock_nothing_is_planned() -> None:
    analysis = analyse(made(locked=False))
    assert not any(one.planned for one in analysis.findings)
    assert "no locked plan" in analysis.findings[0].explored_because
    assert analysis.locked == analysis.fingerprint == ""


def test_an_aim_changed_after_the_draw_is_explored_and_told() -> None:
    records = made()
    aim = Aim(outcome="yield", worthwhile=Margin(value=2, unit="%"))
    records = replace(records, trial=replace(records.trial, aim=aim))
    analysis = analyse(records)
    assert not analysis.findings[0].planned
    assert "changed after the draw" in analysis.findings[0].explored_because
    assert analysis.changes == ("In the aim, worthwhile was not given, now 2 %.",)


def test_a_plan_locked_after_the_first_result_is_explored() -> None:
    records = made()
    flushes = records.flushes.assign(date=np.datetime64("2026-02-01"))
    early = replace(records, flushes=flushes)
    assert "after the first result on 2026-02-01" in questions(early)[0].explored_because


def test_a_batch_treatment_counts_batches() -> None:
    """Ten bags from each of six batches: the bags of a batch are one try."""
    batches = [f"batch {1 + place // 10}" for place in range(60)]
    treatment = [("A", "B")[(place // 10) % 2] for place in range(60)]
    luck = np.repeat(RNG.normal(0, 80, 6), 10)
    grams = 400 + luck + RNG.normal(0, 20, 60)
    analysis = analyse(records_of(treatment, grams, batch=batches))
    assert (analysis.unit.counted, analysis.unit.total) == ("batch", 6)
    finding = only(analysis, "yield-started")
    assert finding.estimate.units == 6
    assert finding.estimate.unit_counted == "batch"
    assert finding.estimate.df == pytest.approx(4, abs=0.01)
    means = grams.reshape(6, 10).mean(axis=1)
    a, b = means[0::2], means[1::2]
    pooled = math.sqrt((a.var(ddof=1) + b.var(ddof=1)) / 2 * (2 / 3))
    half = (finding.estimate.high - finding.estimate.low) / 2
    assert finding.estimate.value == pytest.approx(b.mean() - a.mean())
    assert half == pytest.approx(2.7764451 * pooled, rel=1e-6)  # t .975 on 4 df
    naive = analyse(records_of(treatment, grams))
    counted = only(naive, "yield-started").estimate
    assert counted.high - counted.low < finding.estimate.high - finding.estimate.low


def test_one_batch_a_side_gives_no_inference() -> None:
    batches = ["batch 1"] * 10 + ["batch 2"] * 10
    treatment = ["A"] * 10 + ["B"] * 10
    records = records_of(treatment, RNG.normal(400, 10, 20), batch=batches)
    for start in ("yield-started", "contamination"):
        finding = only(analyse(records), start)
        assert finding.verdict == "withheld"
        assert finding.estimate.p is None
        assert math.isnan(finding.estimate.low)
        assert "luckier batch" in finding.estimate.withheld


def test_a_treatment_lost_whole_is_not_made_up() -> None:
    fate = ["finished" if one == "A" else "contaminated" for one in PAIR]
    grams = [400.0 + place if one == "A" else 0.0 for place, one in enumerate(PAIR)]
    analysis = analyse(records_of(PAIR, grams, block=SHELF, fate=fate))
    assert only(analysis, "yield-fruited").verdict == "withheld"
    assert "no bag" in only(analysis, "yield-fruited").estimate.withheld
    assert only(analysis, "yield-started").verdict in ("ruled out", "not settled")
    assert only(analysis, "contamination").estimate.value == pytest.approx(100)


def test_all_yields_equal_gives_no_inference() -> None:
    finding = only(analyse(records_of(PAIR, [400.0] * 16, block=SHELF)), "yield-started")
    assert finding.verdict == "withheld"
    assert "every value is the same" in finding.estimate.withheld


def test_several_treatments_share_one_family() -> None:
    treatment = ["A", "B", "C", "D"] * 6
    shelf = [str(1 + place // 4) for place in range(24)]
    grams = RNG.normal(400, 30, 24)
    estimates = [
        one.estimate
        for one in analyse(records_of(treatment, grams, block=shelf)).findings
        if one.id.startswith("yield-started")
    ]
    assert [one.treatment for one in estimates] == ["B", "C", "D"]
    for one in estimates:
        wider = (one.high - one.low) / (one.high_alone - one.low_alone)
        # Dunnett (1964, Biometrics 20, 482), two-sided 5 %, 3 comparisons, 15 df: 2.61 by 2.131.
        assert wider == pytest.approx(2.61 / 2.131, abs=0.004)


def test_unknown_totals_are_left_out_and_counted() -> None:
    records = made()
    bags = records.bags.copy()
    bags.loc[3, "total_g"] = np.nan
    bags.loc[5, ["fate", "total_g"]] = ["still going", np.nan]
    bags.loc[6, ["fate", "total_g"]] = ["not recorded", np.nan]
    analysis = analyse(replace(records, bags=bags))
    assert only(analysis, "yield-started").estimate.units == 13
    for step in analysis.flow:
        parts = (
            step.contaminated, step.lost_otherwise, step.still_going, step.not_recorded,
            step.gave_nothing, step.fruited, step.incomplete,
        )  # fmt: skip
        assert sum(parts) == step.made == 8
    assert sum(step.incomplete for step in analysis.flow) == 1


def test_per_cent_and_efficiency_go_with_the_grams() -> None:
    analysis = analyse(made(dry=[800.0] * 16))
    estimate = only(analysis, "yield-started").estimate
    assert estimate.efficiency.value == pytest.approx(estimate.value / 8)
    assert estimate.efficiency.low == pytest.approx(estimate.low / 8)
    control = next(one for one in analysis.means if one.treatment == "A" and one.unit == "g")
    assert estimate.percent.value == pytest.approx(100 * estimate.value / control.value)
    assert (estimate.percent.low > 0) == (estimate.low > 0)


def test_no_efficiency_without_every_dry_weight() -> None:
    dry = [800.0] * 15 + [math.nan]
    assert only(analyse(made(dry=dry)), "yield-started").estimate.efficiency is None


def test_a_margin_in_per_cent_is_of_the_controls_mean() -> None:
    analysis = analyse(made(aim='outcome = "yield"\nworthwhile = "15 %"'))
    finding = only(analysis, "yield-started")
    assert finding.worthwhile == pytest.approx(0.15 * finding.means[0].value)
    ounces = analyse(made(aim='outcome = "yield"\nworthwhile = "2 oz"'))
    assert only(ounces, "yield-started").worthwhile == pytest.approx(56.69904625)


def test_the_checks_of_a_plain_verdict_agree() -> None:
    grams = [400.0 + 10 * (place % 4) + 300 * (one == "B") for place, one in enumerate(PAIR)]
    finding = only(analyse(records_of(PAIR, grams, block=SHELF)), "yield-started")
    assert finding.verdict == "shown"
    assert len(finding.checks) >= 5
    assert all(check.agrees for check in finding.checks)
    # 16 bags in 4 blocks of 2 + 2: 6^4 layouts, of which 2 are as extreme.
    assert finding.p_rerandomised == pytest.approx(2 / 6**4)


def test_one_odd_bag_is_found() -> None:
    grams = [400.0 + 5 * (place % 4) + 30 * (one == "B") for place, one in enumerate(PAIR)]
    grams[0] = 5.0
    finding = only(analyse(records_of(PAIR, grams, block=SHELF)), "yield-started")
    odd = next(one for one in finding.checks if "any one bag" in one.name)
    assert not odd.agrees
    assert "gave 5 g" in odd.detail


def test_dates_of_the_lock_are_days() -> None:
    assert dt.date.fromisoformat(analyse(made()).locked) == dt.date(2026, 2, 27)


def test_nothing_lost_and_some_unknown_deals_out_to_one() -> None:
    from analyses.models.layouts.rerandomise import rerandomise

    for level in (0.0, 0.1, 1e9):
        response = np.where(np.arange(16) == 3, np.nan, level)
        test = rerandomise(PAIR, response, treated="B", control="A", blocks=SHELF)
        assert test.p == 1.0


@pytest.mark.parametrize("claim", ["no worse", "same"])
def test_a_share_of_nothing_is_no_margin(claim: str) -> None:
    grams = [0.0 if one == "A" else 5.0 + place % 3 for place, one in enumerate(PAIR)]
    aim = f'outcome = "yield"\nclaim = "{claim}"\nworthwhile = "10 %"'
    finding = only(analyse(records_of(PAIR, grams, block=SHELF, aim=aim)), "yield-started")
    assert finding.verdict == "withheld"
    assert finding.worthwhile is None
    assert "the control gave nothing" in finding.estimate.withheld
