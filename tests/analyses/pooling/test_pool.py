"""The trials of a group read as one, against published fits, closed forms and hard cases."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from scipy.stats import ttest_1samp

from analyses.flushes import flush_answer
from analyses.models.mixed import fit_mixed
from analyses.pooling.differences import differences
from analyses.pooling.further import more_growers
from analyses.pooling.one_stage import between_variance_of, one_stage
from analyses.pooling.own import own_answers
from analyses.pooling.pool import pool
from analyses.pooling.rows import group_terms, kept_rows, loss_rows, stack, yield_rows
from analyses.unit import unit_story
from analyses.yields import STARTED, yield_answer
from tests.analyses.made import records_of
from tests.analyses.pooling.together_made import CROP, simulated_group, together_of
from tests.reference.load import case, frame
from tests.trials.plans import plan
from trials.problems import Refused

LOSSES = 'outcome = "contamination"\nclaim = "no worse"\nworthwhile = "10 in 100"'


def antigua():
    """Maize at eight sites of Antigua as eight growers (Andrews & Herzberg 1985, pp. 339-353)."""
    data = frame("bank/antigua")
    data = data[data["harvwt"] > 0]
    return together_of(
        [
            records_of(
                [str(one) for one in rows["trt"]],
                rows["harvwt"].to_numpy(),
                block=list(rows["block"]),
                control="0",
            )
            for _, rows in data.groupby("site", sort=False)
        ]
    )


def test_one_stage_is_the_published_model_of_many_sites():
    truth = case("bank/o-lmm-15-antigua-multisite")["results"]
    together = antigua()
    found = one_stage(yield_rows(stack(together)), together.reference, level=0.95)
    known = {"grower": "site", "grower:treatment": "site:trt", "grower:block": "site:block",
             "residual": "Residual"}  # fmt: skip
    for ours, theirs in known.items():
        assert found.fit.variances[ours] == pytest.approx(truth["varcomp"][theirs], rel=1e-6)
    assert found.fit.minus2_reml == pytest.approx(-2 * truth["logLik"], rel=1e-8)
    codes = ["0", *(one.treatment for one in found.estimates)]
    told = differences(found.fit, codes, "plain", 0.95)
    for place, one in enumerate(found.estimates):
        name = f"trt{one.treatment}"
        assert one.value == pytest.approx(truth["fixef"][name], rel=1e-6)
        assert told.se[place] == pytest.approx(truth["se_kr"][name], rel=1e-6)
        assert one.df == pytest.approx(truth["kr_df"][name], rel=1e-6)
        assert (one.units, one.unit_counted) == (8, "grower")


def test_one_stage_is_one_mixed_model_of_the_stacked_rows():
    together = simulated_group(growers=5, spread=60, crop=replace(CROP, contaminated=0.1), seed=4)
    parts = []
    for grower in together.growers:
        bags = grower.records.bags
        parts.append(bags[bags["total_g"].notna()].assign(who=grower.key))
    rows = pd.concat(parts, ignore_index=True)
    plain = fit_mixed(rows, "total_g", "treatment", ["who", "who:treatment", "who:block"])
    contrast = plain.contrasts("treatment").iloc[0]
    found = one_stage(yield_rows(stack(together)), together.reference, level=0.95)
    one = found.estimates[0]
    assert one.value == pytest.approx(contrast["estimate"], rel=1e-9)
    assert (one.low, one.high) == pytest.approx((contrast["low"], contrast["high"]), rel=1e-9)
    assert one.df == pytest.approx(contrast["df"], rel=1e-7)


def balanced(differences_between, *, bags=6, spread=20.0):
    """Make growers with the same scatter inside, whose differences are given."""
    scatter = spread * np.linspace(-1, 1, bags)
    scatter -= scatter.mean()
    growers = []
    for number, gain in enumerate(differences_between):
        base = 400 + 10 * number
        grams = np.concatenate([base + scatter, base + gain + scatter])
        growers.append(records_of(["A"] * bags + ["B"] * bags, grams))
    return together_of(growers)


def test_balanced_growers_are_the_closed_form_in_one_stage_and_in_two():
    # With equal variances both stages are Student's t of the growers' differences.
    gains = np.array([90.0, 20.0, 60.0, 130.0, 45.0, 75.0])
    answer = pool(balanced(gains)).answers[0]
    low, high = ttest_1samp(gains, 0).confidence_interval(0.95)
    one, two = answer.finding.estimate, answer.pooled
    assert (one.value, one.low, one.high) == pytest.approx((gains.mean(), low, high), rel=1e-7)
    assert one.df == pytest.approx(5, rel=1e-7)
    assert one.p == pytest.approx(ttest_1samp(gains, 0).pvalue, rel=1e-6)
    assert (two.value, two.low, two.high) == pytest.approx((gains.mean(), low, high), rel=1e-7)
    scatter = 20 * np.linspace(-1, 1, 6)
    within = 2 * scatter.var(ddof=1) / 6
    assert two.tau2 == pytest.approx(gains.var(ddof=1) - within, rel=1e-7)
    assert answer.between_sd**2 == pytest.approx(two.tau2, rel=1e-6)


def test_growers_alike_leave_no_variance_between_them():
    answer = pool(balanced([60.0, 60.0, 60.0, 60.0])).answers[0]
    assert answer.between_sd == 0
    assert answer.pooled.tau2 == 0
    assert answer.differs == "not shown"
    assert answer.prediction.low <= 60 <= answer.prediction.high


def test_own_answers_are_those_of_the_growers_own_reports():
    together = simulated_group(growers=4, spread=40, crop=replace(CROP, flush_fails=0.1), seed=2)
    stacked = stack(together)
    for owns, answer in [
        (own_answers(yield_rows(stacked), together.reference, "T2", level=0.95),
         lambda one, unit: yield_answer(one, unit, STARTED, level=0.95)),
    ]:  # fmt: skip
        for own, grower in zip(owns, together.growers, strict=True):
            one = answer(grower.records, unit_story(grower.records)).estimates[0]
            assert own.value == pytest.approx(one.value, rel=1e-9)
            assert (own.low, own.high) == pytest.approx((one.low, one.high), rel=1e-9)


def test_shares_kept_by_slopes_of_bags_are_near_the_model_of_flushes():
    # With every flush there and one residual variance, slopes of bags are all that a line needs.
    together = simulated_group(growers=3, crop=replace(CROP, contaminated=0.0), lost=(0, 0), seed=5)
    owns = own_answers(kept_rows(stack(together)), together.reference, "T2", level=0.95)
    for own, grower in zip(owns, together.growers, strict=True):
        one = flush_answer(grower.records, unit_story(grower.records), level=0.95).estimates[0]
        assert own.value == pytest.approx(one.value, abs=0.05)


def test_two_growers():
    answer = pool(simulated_group(growers=2, seed=3)).answers[0]
    one = answer.finding.estimate
    assert one.units == 2
    assert one.low < one.value < one.high
    assert answer.pooled.df == 1
    assert answer.prediction.low <= one.low < one.high <= answer.prediction.high
    assert all(math.isnan(each.p) for each in answer.growers)


def test_one_grower_is_refused():
    with pytest.raises(Refused, match="two growers or more"):
        pool(simulated_group(growers=1))


def test_a_grower_without_a_treatment_helps_with_the_others():
    trial = plan(treatments=3, blocks=4, units=2)
    together = three_mixes(trial)
    found = one_stage(yield_rows(stack(together)), together.reference, level=0.95)
    assert [one.units for one in found.estimates] == [5, 4]
    analysis = pool(together)
    assert any("Has no “mix 3”" in " ".join(one.remarks) for one in analysis.notes)
    by_code = {one.finding.estimate.treatment: one for one in analysis.answers[:2]}
    assert (len(by_code["T2"].growers), len(by_code["T3"].growers)) == (5, 4)


def three_mixes(trial):
    rng = np.random.default_rng(6)
    growers = []
    for number in range(5):
        codes = ["T1", "T2", "T3"] if number else ["T1", "T2"]
        names = [code for code in codes for _ in range(6)]
        grams = [400 + 30 * (name == "T2") + rng.normal(0, 30) for name in names]
        growers.append(records_of(names, grams))
    return together_of(growers, reference=trial)


def test_a_grower_without_the_control_is_no_part_of_it():
    together = balanced([90.0, 20.0, 60.0])
    alone = records_of(["B"] * 3 + ["C"] * 3, [900.0, 910, 920, 930, 940, 950], control="B")
    more = together_of(
        [*(one.records for one in together.growers), alone], reference=together.reference
    )
    assert pool(more).answers[0].finding.estimate.value == pytest.approx(170 / 3, rel=1e-8)


def test_one_giant_grower_does_not_drown_the_others():
    rng = np.random.default_rng(7)
    small = [[20.0, 0.0], [30.0, 10.0], [25.0, 5.0], [15.0, 5.0]]
    growers = [
        records_of(["A"] * 4 + ["B"] * 4, rng.normal([300.0] * 4 + [300.0 + gain] * 4, 15))
        for gain, _ in small
    ]
    giant = records_of(["A"] * 400 + ["B"] * 400,
                       rng.normal([300.0] * 400 + [420.0] * 400, 15))  # fmt: skip
    analysis = pool(together_of([*growers, giant]))
    answer = analysis.answers[0]
    # Were bags what counts, the giant's 120 g would be nearly all of the average.
    assert answer.finding.estimate.value < 80
    assert answer.differs == "yes"
    assert answer.finding.estimate.low < 22 < answer.finding.estimate.high
    assert answer.growers[-1].p_holm < 0.01


def lost_at(counts, aim=LOSSES, made=20):
    """Make growers of whose bags so many of A and of B were lost."""
    growers = []
    for a, b in counts:
        fate = ["contaminated"] * a + ["finished"] * (made - a)
        fate += ["contaminated"] * b + ["finished"] * (made - b)
        grams = [0.0 if one == "contaminated" else 400.0 + 3 * k for k, one in enumerate(fate)]
        names = ["A"] * made + ["B"] * made
        growers.append(records_of(names, grams, fate=fate, aim=aim))
    return together_of(growers)


def test_growers_without_a_loss_are_kept():
    counts = [(3, 1), (0, 0), (4, 2), (0, 0), (2, 0)]
    answer = pool(lost_at(counts)).answers[0]
    assert answer.finding.estimate.value == pytest.approx(100 * (3 - 9) / 100)
    assert len(answer.growers) == 5
    assert answer.pooled.trials == 5
    odds = next(one for one in answer.companions if one.measure == "odds ratio")
    assert 0 < odds.low < odds.value < 1 < odds.high
    assert odds.df == 4


def test_no_loss_at_any_grower_still_leaves_a_range():
    answer = pool(lost_at([(0, 0)] * 4)).answers[0]
    one = answer.finding.estimate
    assert one.value == 0
    # Miettinen & Nurminen (1985) with nothing of 80 on both sides: z2 / (n + z2)
    reach = 100 * 1.959964**2 / (80 * 160 / 159 + 1.959964**2)
    assert (one.low, one.high) == pytest.approx((-reach, reach), rel=0.02)
    assert answer.finding.verdict == "shown"


def test_batches_are_what_counts_where_all_growers_treat_batches():
    growers = []
    rng = np.random.default_rng(9)
    for _ in range(4):
        batch = [f"batch {k}" for k in range(6) for _ in range(10)]
        names = ["A" if k % 2 else "B" for k in range(6) for _ in range(10)]
        fate = np.where(rng.random(60) < 0.2, "contaminated", "finished")
        grams = np.where(fate == "finished", rng.normal(400, 40, 60), 0.0)
        growers.append(records_of(names, grams, batch=batch, fate=fate, control="A", aim=LOSSES))
    together = together_of(growers)
    sample = loss_rows(stack(together))
    assert (sample.counted, len(sample.frame)) == ("batch", 24)
    answer = pool(together).answers[0]
    assert answer.finding.estimate.outcome == "contamination"
    odds = answer.companions[0]
    assert "random batch" in odds.method
    assert math.isfinite(odds.value)


def test_terms_that_repeat_one_another_are_left_out():
    rows = pd.DataFrame(
        {
            "grower": ["a"] * 4 + ["b"] * 4,
            "treatment": ["A", "B"] * 4,
            "block": ["one"] * 8,
            "batch": [f"{k}" for k in range(8)],
        }
    )
    assert group_terms(rows) == ("grower", "grower:treatment")
    assert group_terms(rows.iloc[[0, 1, 4, 5]]) == ("grower",)


def test_something_recorded_is_looked_at_afterwards():
    rng = np.random.default_rng(10)
    warm = np.linspace(14, 26, 9)
    gains = 10 * (warm - 20) + 60
    growers = [
        records_of(["A"] * 8 + ["B"] * 8, rng.normal([400.0] * 8 + [400.0 + gain] * 8, 12))
        for gain in gains
    ]
    notes = [
        {"temperature": f"{one:g} °C", "heat treatment": "steam" if k % 2 else "hot water",
         "species": "oyster"}
        for k, one in enumerate(warm)
    ]  # fmt: skip
    answer = pool(together_of(growers, notes=notes)).answers[0]
    assert answer.differs == "yes"
    told = {one.name: one for one in answer.reasons}
    assert set(told) == {"temperature", "heat treatment"}  # one species explains nothing
    assert told["temperature"].slope == pytest.approx(10, abs=2)
    # Student's t from the F of the same test: t = sqrt(F), 9 growers less 2
    warmth = told["temperature"]
    error = warmth.slope / math.sqrt(stats.f.isf(warmth.p, 1, 7))
    half = stats.t.ppf(0.975, 7) * error
    assert (warmth.low, warmth.high) == pytest.approx((warmth.slope - half, warmth.slope + half))
    assert told["heat treatment"].low < 0 < told["heat treatment"].high
    assert told["temperature"].unit == "°C"
    assert told["temperature"].p_holm < 0.01 < told["heat treatment"].p_holm
    assert told["temperature"].p_holm >= told["temperature"].p


def test_more_growers_follow_students_t():
    finding = pool(balanced([50.0, 10.0, 90.0, -20.0, 60.0])).answers[0].finding
    assert finding.verdict == "not settled"
    more = more_growers(finding)

    # the noncentral t: sd 43.4, a mean of 38, shown to be above nothing 8 times in 10
    def shown(growers):
        df, away = growers - 1, 38 / 43.4 * math.sqrt(growers)
        return stats.nct.sf(stats.t.ppf(0.975, df), df, away)

    assert more.now == 5
    assert more.wanted is not None
    assert shown(more.wanted - 1) < 0.8 <= shown(more.wanted) + 0.02
    one = replace(finding.estimate, value=0.0, low=-40.0, high=40.0)
    assert more_growers(replace(finding, estimate=one)).wanted is None
    assert more_growers(replace(finding, verdict="shown")) is None
    assert more_growers(replace(finding, planned=False)) is None


def test_chances_and_seed():
    together = simulated_group(growers=6, seed=1)
    one, same, other = pool(together), pool(together), pool(together, seed=99)
    assert one.answers[0].prediction.low == same.answers[0].prediction.low
    assert one.answers[0].prediction.low != other.answers[0].prediction.low
    answer = one.answers[0]
    assert answer.chance_worthwhile < answer.chance_better
    assert answer.chance_better == answer.prediction.chance_above(0.0)


def test_plans_locked_too_late_are_named():
    together = simulated_group(growers=4, seed=1)
    growers = tuple(
        replace(one, records=replace(one.records, lock=None)) if k == 0 else one
        for k, one in enumerate(together.growers)
    )
    analysis = pool(replace(together, growers=growers))
    assert analysis.answers[0].finding.planned
    assert any("Grower A" in one for one in analysis.cautions)
    assert any("locked beforehand" in one.name for one in analysis.answers[0].finding.checks)
    none = tuple(replace(one, records=replace(one.records, lock=None)) for one in together.growers)
    assert not pool(replace(together, growers=none)).answers[0].finding.planned


def test_explored_answers_share_holm():
    analysis = pool(simulated_group(growers=5, lost=(0.2, 0.1), seed=3))
    explored = [one.finding for one in analysis.answers if not one.finding.planned]
    assert {one.estimate.outcome for one in explored} == {"flush drop", "contamination"}
    assert all(one.p_holm >= one.estimate.p for one in explored)


def test_between_variance_is_that_of_the_difference():
    found = one_stage(yield_rows(stack(antigua())), antigua().reference, level=0.95)
    assert between_variance_of(found.fit) == pytest.approx(2 * 0.1925121502832, rel=1e-6)
