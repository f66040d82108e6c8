"""The story of a shortcut: what the page says of batches, of when, and of the wrong count."""

from __future__ import annotations

import re

import pytest

from analyses.questions import analyse
from reports.figures.batches import figure_batches
from reports.figures.counting import figure_counting
from reports.figures.loss_time import figure_loss_time
from reports.figures.two_ways import figure_two_ways
from reports.parts.companions import companion_details
from reports.parts.loss_story import loss_story
from reports.parts.treatments_table import means_tables
from reports.report import write_report
from reports.wording.counting import counting_paragraph, countings
from tests.analyses.losses import NO_WORSE, batches, lost_records
from tests.reports.stories import story


@pytest.fixture(scope="module")
def shortcut():
    return story("shortcut")


def test_the_naive_count_and_the_right_answer_differ(shortcut):
    (naive,) = shortcut.naive
    assert (naive.units, naive.batches) == (144, 12)
    assert (naive.verdict, naive.right_verdict) == ("ruled out", "not settled")
    assert naive.low > 8
    assert naive.right_low < 0 < naive.right_high


def test_the_paragraph_tells_both_counts(shortcut):
    (told,) = countings(shortcut)
    said = counting_paragraph(told, shortcut)
    assert "144 bags" in said
    assert "only 12 batches" in said
    assert "between 12 and 34 more, in a hundred" in said
    assert "from 16 fewer to 57 more" in said
    worth = round(144 / shortcut.naive[0].design_effect)
    assert f"about as much as {worth} that stood alone" in said


def test_the_pictures_say_what_they_show(shortcut):
    batch, count = figure_batches(shortcut), figure_counting(shortcut)
    time, both = figure_loss_time(shortcut), figure_two_ways(shortcut)
    assert "lost: 1, 0, 11, 0, 4 and 2" in batch.alt
    assert "12 batches, each counted once: anything from 16 fewer to 57 more" in count.alt
    assert "(not earned)" in count.alt
    assert "25 with two hours of steam" in time.title
    assert "per bag that fruited" in both.alt
    for figure in (batch, count, time, both):
        assert figure.svg.startswith("<")
        assert figure.png[:4] == b"\x89PNG"


def test_the_page_holds_the_story(shortcut):
    report = write_report(shortcut)
    names = [figure.name for figure in report.figures]
    assert names[:2] == ["batches", "difference"]
    assert {"counting", "loss-time", "two-ways"} <= set(names)
    assert report.key.headline.startswith("This trial cannot tell whether")
    assert report.invented


def test_the_statistician_gets_the_rest(shortcut):
    details = companion_details(shortcut)
    text = " ".join(cell for one in details for table in one.blocks
                    for row in getattr(table, "rows", ()) for cell in row)  # fmt: skip
    assert "adaptive quadrature" in text
    assert "ruled out" in text


def test_nothing_lost_in_any_batch_is_said_with_its_bound():
    cells = batches("T", [0] * 6, 12) + batches("C", [0] * 6, 12, first=7)
    analysis = analyse(lost_records(cells, by="batch", aim=NO_WORSE))
    report = write_report(analysis, figures=False)
    said = " ".join(report.key.sentences)
    assert "No bag was lost in 6 batches with mix T, nor in 6 with mix C" in said
    lines = [item for section in report.sections if section.id == "losses"
             for block in section.blocks for item in getattr(block, "items", ())]  # fmt: skip
    assert any("up to 46 in a hundred could still be" in line for line in lines)


def test_one_batch_a_side_shows_no_range():
    cells = batches("T", [5], 20) + batches("C", [1], 20, first=2)
    analysis = analyse(lost_records(cells, by="batch", aim=NO_WORSE))
    (told,) = countings(analysis)
    assert told.right is None
    assert "nothing backs that up" in counting_paragraph(told, analysis)
    assert "no range" in figure_counting(analysis).alt


@pytest.mark.parametrize("name", ["mixes", "shortcut", "flushes"])
def test_what_losses_took_is_the_difference_of_what_is_shown(name):
    figure = figure_two_ways(story(name))
    amount = r"([\d.]+) (?:g|oz)"
    shown = re.findall(rf"{amount} per bag that fruited, {amount} per bag started", figure.alt)
    took = re.findall(rf"{amount} with", figure.title)
    assert len(took) == 2
    for (fruited, started), difference in zip(shown, took, strict=True):
        assert float(fruited) - float(started) == pytest.approx(float(difference))


@pytest.mark.parametrize("name", ["mixes", "shortcut", "flushes"])
def test_a_mean_is_told_alike_in_the_picture_and_in_the_table(name):
    figure = figure_two_ways(story(name))
    amount = r"([\d.]+) (?:g|oz)"
    shown = re.findall(rf"{amount} per bag that fruited, {amount} per bag started", figure.alt)
    started, fruited = means_tables(story(name))
    told = [(float(f[2]), float(s[2])) for f, s in zip(fruited.rows, started.rows, strict=True)]
    assert [(float(f), float(s)) for f, s in shown] == told


def test_a_loss_without_a_stage_is_told_as_a_stage_not_known():
    analysis = analyse(lost_records([("C", 1, 10), ("T", 2, 10)]))
    told, *_ = loss_story(analysis, lambda figure, one: ())
    said = "Nothing shows at which stage 3 bags were lost (2 with mix T and 1 with mix C)."
    assert sorted(told.text) == sorted(said)
    assert told.text.startswith("Nothing shows at which stage 3 bags were lost (")


@pytest.mark.parametrize(("hit", "told"), [([0, 0, 0, 0, 1], True), ([0, 0, 0, 1, 2], False)])
def test_one_batch_hit_is_said_to_widen_the_range(hit, told):
    cells = batches("T", hit, 6) + batches("C", [0, 1, 0, 2, 1], 6, first=6)
    analysis = analyse(lost_records(cells, by="batch", aim=NO_WORSE))
    report = write_report(analysis, figures=False)
    lines = [item for section in report.sections if section.id == "losses"
             for block in section.blocks for item in getattr(block, "items", ())]  # fmt: skip
    (line,) = [line for line in lines if "batches with mix T" in line]
    assert ("Only one batch was hit" in line) == told
