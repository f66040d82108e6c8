"""What to expect where treatments went to whole batches, from records to the words on the page."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from analyses.flush.told import flush_story
from analyses.questions import analyse
from analyses.unit import unit_story
from reports.plain_text import to_text
from reports.report import write_report
from tests.analyses.made import records_of
from tests.analyses.test_worth import COSTS
from tests.reports.test_flush_edges import main_text


def made(batches, *, bags=6, differ=0.15, seed=21, shelves=0):
    """Make records with prices of batches that take turns, three flushes, some bags lost."""
    rng = np.random.default_rng(seed)
    batch = np.repeat(np.arange(batches), bags)
    treatment, shape = batch % 2, (batches * bags, 3)
    logs = 5.6 + np.log([0.5, 0.62])[treatment, None] * np.arange(3)
    logs = logs + differ * rng.normal(size=batches)[batch, None] + 0.2 * rng.normal(size=shape)
    grams, fate = np.exp(logs), ["finished"] * len(batch)
    grams[4, 1:] = grams[17, 2] = np.nan
    fate[4] = fate[17] = "contaminated"
    grams[[14, 23], 2] = 0.0
    where = [f"s{(one // 2) % shelves}" for one in batch] if shelves else None
    aim = 'outcome = "yield"\nclaim = "better"\nworthwhile = "50 g"'
    records = records_of(
        np.array(["a", "b"])[treatment].tolist(), grams, batch=[f"b{one}" for one in batch],
        block=where, fate=fate, aim=aim,
    )  # fmt: skip
    return dataclasses.replace(records, trial=dataclasses.replace(records.trial, costs=COSTS))


def as_if_each_bag_stood_alone(records):
    """Give the same weights without a word of batches."""
    rows = [frame.assign(batch="") for frame in (records.bags, records.flushes)]
    design = dataclasses.replace(records.trial.design, applied_to="unit")
    return dataclasses.replace(
        records, bags=rows[0], flushes=rows[1],
        trial=dataclasses.replace(records.trial, design=design),
    )  # fmt: skip


def width(records):
    """Give the width of the range of the first flush, from 1,000 draws."""
    told = flush_story(records, unit_story(records), level=0.95, draws=1000)
    assert told is not None
    grams = told[0].expected[0].grams
    return grams.high - grams.low


def test_every_range_is_there_and_repeatable():
    analysis, again = (analyse(made(10)) for _ in range(2))
    story = analysis.story
    assert story.draws == 2000
    assert not story.why_no_ranges
    assert [one.grams for one in story.expected] == [one.grams for one in again.story.expected]
    for one in story.expected:
        assert 0 < one.grams.low < one.grams.value < one.grams.high < math.inf
    for one in analysis.worth.values:
        assert one.per_day.low < one.per_day.value < one.per_day.high
    for best in analysis.worth.best:
        assert best.per_week.low < best.per_week.value < best.per_week.high
        assert sum(share for _, share in best.others) == pytest.approx(1.0)
        assert best.sure == dict(best.others)[best.flushes]


@pytest.mark.parametrize(("differ", "least", "most"), [(0.3, 2.0, 5.0), (0.0, 0.9, 1.6)])
def test_batches_that_differ_widen_the_ranges(differ, least, most):
    """Six bags of a batch are then far from six tries; where batches are alike they nearly are."""
    records = made(12, differ=differ)
    alone = as_if_each_bag_stood_alone(records)
    assert (unit_story(records).counted, unit_story(alone).counted) == ("batch", "bag")
    assert least < width(records) / width(alone) < most


def test_the_page_tells_ranges_and_what_they_count():
    told = main_text(made(10))
    assert (
        "What to expect has ranges that count batches: the bags of one batch share its luck" in told
    )
    assert "What to expect has no range" not in told
    assert "of 100 simulated repeats of this trial" in told
    assert (
        "Worked out flush by flush, both picked as often as here, a place on the shelf brings"
        in told
    )


@pytest.mark.parametrize(
    ("batches", "shelves", "reason"),
    [
        (4, 0, "with 2 batches of a treatment too little shows how far batches differ; it takes 3"),
        (6, 3, "with so few batches on these shelves too little shows how far batches differ"),
    ],
)
def test_too_few_batches_have_no_range_and_the_page_says_why(batches, shelves, reason):
    records = made(batches, shelves=shelves)
    analysis = analyse(records)
    assert analysis.story.draws == 0
    assert all(math.isnan(one.grams.low) for one in analysis.story.expected)
    assert f"What to expect has no range here: {reason}" in main_text(records)


def test_shelves_with_several_batches_are_in_the_model():
    analysis = analyse(made(12, shelves=3))
    assert analysis.story.draws == 2000
    assert all(one.grams.low > 0 for one in analysis.story.expected)


def test_a_statistician_reads_how_batches_were_drawn():
    alone = as_if_each_bag_stood_alone(made(10))
    for records, there in ((made(10), True), (alone, False)):
        page = write_report(analyse(records), figures=False)
        told = " ".join(to_text(page, width=400).split())
        assert "parametric bootstrap" in told
        assert ("In each draw the batches have luck of their own" in told) == there
