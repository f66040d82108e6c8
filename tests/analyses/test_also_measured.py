"""Fruit bodies, picking time and biological efficiency, from the records to the page."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.stats import ttest_ind
from statsmodels.stats.multitest import multipletests

from analyses.questions import analyse
from reports.parts.blocks import Bullets
from reports.report import write_report
from reports.wording.also_words import also_lines, also_opening
from tests.analyses.few_layouts import few_layouts
from tests.analyses.made import records_of

BAGS = 12
AIM = 'outcome = "contamination"'


def written_down(*, aim=AIM, lost=(2, 1), flushes=2, blank=()):
    """Invented bags of two mixes with bodies, minutes and dry weights; more bodies with T."""
    rng = np.random.default_rng(7)
    treatment = ["C"] * BAGS + ["T"] * BAGS
    grams = rng.normal(420, 40, (2 * BAGS, flushes)) * [1.0, 0.6][:flushes]
    fate = ["finished"] * (2 * BAGS)
    for start, count in zip((0, BAGS), lost, strict=True):
        for place in range(start, start + count):
            fate[place], grams[place] = "contaminated", 0.0
    dry = np.where(np.arange(2 * BAGS) % 3 == 0, 480.0, 500.0)
    records = records_of(treatment, grams, fate=fate, control="C", aim=aim, dry=dry)
    more = (np.array(treatment) == "T").repeat(flushes)
    bodies = rng.poisson(np.where(more, 30, 18)).astype(float)
    minutes = np.round(rng.normal(2.0, 0.3, len(bodies)), 1)
    bodies[list(blank)] = np.nan
    table = records.flushes.assign(bodies=bodies, minutes=minutes)
    return dataclasses.replace(records, flushes=table)


def per_bag(records, name):
    """Sum one column over the flushes that came, bags with a blank left out."""
    came = records.flushes[records.flushes["grams"] > 0]
    sums = came.groupby("code")[name].agg(lambda one: one.sum(skipna=False)).dropna()
    weight = came.groupby("code")["grams"].sum()
    which = records.bags.set_index("code")["treatment"]
    return sums, weight[sums.index], which[sums.index]


def sides(values, which):
    return [values[which == code] for code in "TC"]


def test_each_measure_is_a_t_of_the_bags():
    """Two mixes, no blocks: Student's t test by scipy of what is reckoned here from the table."""
    records = written_down(blank=[30])
    also = {one.measure: one for one in analyse(records).also}
    bodies, weight, which = per_bag(records, "bodies")
    minutes, all_weight, all_which = per_bag(records, "minutes")
    bags = records.bags.set_index("code")
    efficiency = 100 * bags["total_g"] / bags["dry_weight_g"]
    expected = {
        "fruit bodies": sides(bodies, which),
        "weight of a body": sides(weight / bodies, which),
        "picking time": sides(1000 * minutes / all_weight, all_which),
        "biological efficiency": sides(efficiency, bags["treatment"]),
    }
    assert also.keys() == expected.keys()
    for measure, (mine, control) in expected.items():
        test = ttest_ind(mine, control)
        span = test.confidence_interval(0.95)
        one = also[measure]
        assert one.p == pytest.approx(test.pvalue, rel=1e-8)
        assert (one.low, one.high) == pytest.approx((span.low, span.high), rel=1e-8)
        assert (one.mean, one.control_mean) == pytest.approx((mean(mine), mean(control)))


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """Dealing out again is most of the work, and nothing here looks at it."""
    few_layouts(monkeypatch)


def mean(values):
    return float(np.mean(values))


def test_holm_runs_over_all_that_was_explored():
    """Holm (1979) by statsmodels, findings and side measures in one family."""
    analysis = analyse(written_down())
    explored = [one for one in analysis.findings if not one.planned]
    raw = [one.estimate.p for one in explored if one.estimate.p is not None]
    raw += [one.p for one in analysis.also]
    adjusted = [one.p_holm for one in explored if one.estimate.p is not None]
    adjusted += [one.p_holm for one in analysis.also]
    assert len(raw) >= 6
    assert adjusted == pytest.approx(multipletests(raw, method="holm")[1], rel=1e-9)
    assert all(one.p_holm is None for one in analysis.findings if one.planned)


def test_efficiency_is_told_with_the_yield_where_the_plan_asks_about_yield():
    analysis = analyse(written_down(aim='outcome = "yield"'))
    assert "biological efficiency" not in {one.measure for one in analysis.also}
    assert any(one.estimate.efficiency is not None for one in analysis.findings)


def test_the_page_tells_each_in_a_short_sentence():
    analysis = analyse(written_down())
    lines = also_lines(analysis)
    assert len(lines) == 4
    assert lines[0].startswith("Fruit bodies per bag: about ")
    assert lines[0].endswith(" more fits.")
    assert "fewer" not in lines[0]
    assert "hint" in also_opening(analysis)
    report = write_report(analysis, figures=False)
    (section,) = (one for one in report.sections if one.id == "treatments")
    assert any(isinstance(one, Bullets) and one.items == lines for one in section.blocks)


def test_a_measure_that_stands_out_is_still_a_hint():
    report = write_report(analyse(written_down()), figures=False)
    (section,) = (one for one in report.sections if one.id == "planned")
    told = " ".join(getattr(one, "text", "") for one in section.blocks)
    assert "fruit bodies still stands out. Each is still a hint" in told or (
        "fruit bodies" in told and "still stand out" in told
    )


def test_one_bag_a_side_has_no_range():
    records = written_down(lost=(BAGS - 1, BAGS - 1))
    told = also_lines(analyse(records))
    assert any("cannot be compared" in one for one in told)
    assert not any("nan" in one for one in told)


def test_nothing_written_down_tells_nothing():
    records = written_down()
    blank = records.flushes.assign(bodies=np.nan, minutes=np.nan)
    bags = records.bags.assign(dry_weight_g=np.nan)
    analysis = analyse(dataclasses.replace(records, flushes=blank, bags=bags))
    assert analysis.also == ()
    assert also_opening(analysis) == ""
