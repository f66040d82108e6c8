"""The report as values: what each section says, and what it leaves out."""

from __future__ import annotations

import dataclasses
from typing import get_args

import pytest

from analyses.estimate import Span
from analyses.finding import Check
from analyses.losses.counts import LossCount
from analyses.losses.naive import NaiveCount
from reports.parts.blocks import Bullets, Details, Figure, Paragraph, Table
from reports.parts.plan_and_done import how_done
from reports.parts.treatments_table import flushes_table, losses_table, means_tables
from reports.parts.trust import cannot_say, checks_table, trust_remarks
from reports.report import write_report
from reports.wording.headlines import EXPLORED
from reports.wording.losses import loss_line, losses_total
from reports.wording.outlook import in_efficiency, next_hundred
from reports.wording.overview import overview
from tests.reports.invented import (
    estimate,
    finding,
    four_mixes,
    one_batch_a_side,
    plan,
    two_mixes,
)  # fmt: skip
from tests.reports.stories import invented_report
from trials.layout import Randomisation
from trials.trial import Treatment

THREE = plan(
    treatments=(
        Treatment(code="B", name="bran", control=True),
        Treatment(code="O", name="okara"),
        Treatment(code="R", name="rice"),
        Treatment(code="S", name="soya"),
    )
)


def section(report, name):
    return next(one for one in report.sections if one.id == name)


def test_figures_are_gathered_once_in_order():
    report = invented_report("two_mixes")
    assert [one.name for one in report.figures] == [
        "bags", "difference", "flow", "losses", "flushes", "larger", "places", "residuals",
        "influence",
    ]  # fmt: skip
    lossy = invented_report("shortcut")
    assert [one.name for one in lossy.figures] == [
        "losses", "difference", "bags", "flow", "larger", "residuals", "influence",
    ]  # fmt: skip


def test_a_terminal_gets_no_figures():
    assert write_report(two_mixes(), figures=False).figures == ()


def test_the_answer_is_said_in_one_or_two_sentences():
    report = write_report(two_mixes(), figures=False)
    assert report.answer.startswith("10 % okara gave more than 10 % wheat bran")
    assert "between" in report.answer


def test_the_basis_says_units_blocks_lot_labels_and_losses():
    assert write_report(two_mixes(), figures=False).key.basis == (
        "32 bags on 8 shelves, drawn by lot, labels blind. 3 bags were lost to contamination, all "
        "of them with 10 % wheat bran. The comparison rests on 31 bags."
    )


def test_an_answer_that_was_not_planned_says_so_first():
    analysis = two_mixes()
    explored = tuple(
        dataclasses.replace(one, planned=False, explored_because="there is no locked plan")
        for one in analysis.findings
    )
    report = write_report(dataclasses.replace(analysis, findings=explored), figures=False)
    assert report.key.headline == EXPLORED
    assert "Looked at afterwards, because there is no locked plan." in report.key.basis
    assert "change to" not in " ".join(report.key.steps)


def test_nothing_compared_is_no_answer():
    empty = dataclasses.replace(two_mixes(), findings=())
    report = write_report(empty)
    assert report.key.headline == "The records do not yet answer the question."


def test_findings_are_told_together_by_what_they_show():
    def told(code, low, high, worthwhile=40.0):
        return finding(estimate((low + high) / 2, low, high, treatment=code), "better", worthwhile)

    assert overview((told("O", 50, 90), told("R", 5, 90), told("S", -90, -10)), THREE) == (
        "Okara gave more than bran, and by enough to matter. Rice gave more than bran; how much "
        "more is open. Soya gave less than bran."
    )
    assert overview((told("O", -20, 30), told("R", -20, 30), told("S", -50, 90)), THREE) == (
        "For okara and rice any difference from bran is smaller than the one you said would "
        "matter. "
        "For soya this trial cannot tell."
    )


def test_opposite_sides_are_never_told_together():
    told = tuple(
        finding(estimate((low + high) / 2, low, high, treatment=code), "same", 60.0)
        for code, low, high in (("O", 10, 90), ("R", -90, -10), ("S", 10, 90))
    )
    assert overview(told, THREE) == (
        "Okara and soya gave more than bran; whether by enough to matter is open. "
        "Rice gave less than bran; whether by enough to matter is open."
    )


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (20.0, 100.0, "about 6 kg more (between 2 kg and 10 kg)"),
        (-100.0, -20.0, "about 6 kg less (between 2 kg and 10 kg)"),
        (-20.0, 100.0, "anything from 2 kg less to 10 kg more"),
    ],
)
def test_a_hundred_units_more(low, high, said):
    told = finding(estimate((low + high) / 2, low, high))
    assert said in next_hundred(told, plan())


def test_a_hundred_units_in_pounds():
    told = finding(estimate(60.0, 20.0, 100.0))
    # 6000 g and 453.59237 g a pound (International Yard and Pound Agreement, 1959).
    assert "about 13.2 lb more" in next_hundred(told, plan(weights="oz"))


def test_points_of_biological_efficiency():
    share = Span(value=6.0, low=2.0, high=10.0, unit="points")
    told = finding(estimate(efficiency=share))
    assert "between 2.0 and 10.0 points more fits" in in_efficiency(told, plan())
    assert in_efficiency(finding(estimate()), plan()) == ""


# Clopper-Pearson by its closed form at none: 1 - 0.025 ** (1 / 40) = 0.0881.
def test_none_lost_is_said_with_what_could_still_be():
    none = LossCount(
        treatment="B", lost=0, made=40, low=0.0, high=1 - 0.025 ** (1 / 40), level=0.95,
        method="Clopper-Pearson",
    )  # fmt: skip
    assert loss_line(none, "bran", "bag") == (
        "None of 40 bags with bran was lost; up to 9 in a hundred could still be, with luck like "
        "this."
    )
    every = dataclasses.replace(none, lost=40, low=0.025 ** (1 / 40), high=1.0)
    assert "as few as 91 in a hundred" in loss_line(every, "bran", "bag")


def test_one_lost_is_singular():
    one = LossCount(
        treatment="B", lost=1, made=20, low=0.009, high=0.236, level=0.95, method="Wilson"
    )
    assert loss_line(one, "bran", "bag") == (
        "1 of 20 bags with bran was lost: anything up to 24 in a hundred fits."
    )
    assert losses_total(four_mixes()) == "1 bag was lost to contamination, with Soya hulls 20 %."


def test_batches_are_named_and_have_no_range_of_units():
    said = [block for block in section(write_report(one_batch_a_side()), "losses").blocks]
    lines = next(block.items for block in said if isinstance(block, Bullets))
    assert lines[0] == "1 of 20 bags from 1 batch with Steamed 3 hours was lost."
    assert any(
        isinstance(block, Paragraph) and "batches are what counts" in block.text for block in said
    )


def test_tables_hold_what_the_analysis_holds():
    analysis = two_mixes()
    started, fruited = means_tables(analysis)
    assert started.caption == "Per bag started"
    assert [row[1] for row in started.rows] == ["15", "16"]
    assert [row[1] for row in fruited.rows] == ["12", "16"]
    lost = losses_table(analysis)
    assert lost.columns == (
        "Treatment",
        "Made",
        "Fruited and lasted",
        "Contaminated",
        "Total unknown",
    )
    assert [sum(map(int, row[2:])) for row in lost.rows] == [int(row[1]) for row in lost.rows]
    flushes = flushes_table(analysis)
    assert len(flushes.rows) == 6
    for table in (started, fruited, lost, flushes):
        assert all(len(row) == len(table.columns) == len(table.numeric) for row in table.rows)


# A published table read through ours: Hindawi, Advances in Agriculture 2019, 6853627, table 3,
# fruiting bodies per bag by flush, means over four mixes 23.75, 15.33, 6.25, 3.8.
def test_what_a_flush_keeps_of_the_one_before():
    means = (23.75, 15.33, 6.25, 3.8)
    analysis = two_mixes()
    row = analysis.flush_rows[0]
    rows = tuple(
        dataclasses.replace(
            row, flush=place + 1, mean_g=mean, sd_g=0.2 * mean, bags=12, share=mean / sum(means),
            kept=mean / means[place - 1] if place else float("nan"),
        )
        for place, mean in enumerate(means)
    )  # fmt: skip
    table = flushes_table(dataclasses.replace(analysis, flush_rows=rows))
    assert [cells[-1] for cells in table.rows] == ["–", "65 %", "41 %", "61 %"]
    assert [cells[-2] for cells in table.rows] == ["48 %", "31 %", "13 %", "7.7 %"]


def test_a_verdict_that_hangs_on_one_bag_is_told():
    analysis = two_mixes()
    turned = dataclasses.replace(
        analysis.findings[0],
        checks=(Check(name="without any one bag", verdict="not settled", agrees=False),),
    )
    changed = dataclasses.replace(analysis, findings=(turned, *analysis.findings[1:]))
    assert checks_table(changed).rows == (("Without any one bag", "cannot tell", "no"),)
    assert any("hangs on details" in remark for remark in trust_remarks(changed))
    assert not any("hangs on details" in remark for remark in trust_remarks(analysis))


def test_what_the_wrong_count_would_have_claimed_is_told_as_wrong():
    analysis = one_batch_a_side()
    nan = float("nan")
    wrong = NaiveCount(
        treatment="W", control="S", units=40, batches=2, value=-20.0, low=-35.0, high=-5.0, p=0.01,
        verdict="shown", right_low=nan, right_high=nan, right_verdict="withheld", correlation=nan,
        design_effect=nan,
    )  # fmt: skip
    said = " ".join(trust_remarks(dataclasses.replace(analysis, naive=(wrong,))))
    assert "Counting 40 bags as if each stood alone would give Hot water 90 minutes" in said
    assert "the verdict “shown”. That would be wrong: with 2 batches" in said
    like = dataclasses.replace(wrong, verdict="withheld")
    assert "not earned" in " ".join(trust_remarks(dataclasses.replace(analysis, naive=(like,))))


@pytest.mark.parametrize("randomisation", get_args(Randomisation))
def test_every_way_of_drawing_is_told(randomisation):
    analysis = two_mixes()
    layout = dataclasses.replace(analysis.records.layout, randomisation=randomisation)
    read = dataclasses.replace(analysis.records, layout=layout)
    lot = next(
        one for one in how_done(dataclasses.replace(analysis, records=read)) if "Lot:" in one
    )
    assert "{" not in lot
    assert "seed 41" in lot


def test_what_it_cannot_say_names_place_time_and_strain():
    said = cannot_say(two_mixes())[0]
    assert all(word in said for word in ("the cellar", "2031-03-03", "king oyster", "K7"))
    assert "batches would" in " ".join(cannot_say(one_batch_a_side()))


def test_the_statistician_finds_every_digit():
    blocks = section(write_report(two_mixes(), figures=False), "statistician").blocks
    unfolded = [inner for block in blocks if isinstance(block, Details) for inner in block.blocks]
    estimates = next(one for one in unfolded if isinstance(one, Table))
    value = two_mixes().findings[0].estimate.value
    assert f"{value:.5g}" in estimates.rows[0]
    assert "planned" in estimates.rows[0]
    assert "explored" in estimates.rows[1]
    assert not any(isinstance(one, Figure) for one in unfolded)
