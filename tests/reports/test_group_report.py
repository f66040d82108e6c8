"""The page of a group: answers first, sentences that hold, names only where agreed."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from functools import cache
from importlib.resources import files

import jsonschema
import pytest

from analyses.finding import judge
from analyses.models.trials_together.prediction import Prediction
from analyses.pooling.answers import MoreGrowers
from analyses.pooling.pool import pool
from pinset.demos import demo_folder
from reports.figures.forest import figure_forest
from reports.group_report import write_group_report
from reports.group_results import GROUP_SCHEMA, group_results
from reports.page import to_html, to_markdown, to_text
from reports.wording.group_words import (
    expected_ahead,
    group_headline,
    group_next,
    group_sentence,
    in_ten,
)
from reports.wording.headlines import kind_of
from reports.wording.hedging import HEDGES, NEVER
from reports.wording.speech import set_scene
from tests.analyses.pooling.together_made import simulated_group
from tests.reports.odd_words import NASTY
from tests.reports.page_reader import Page
from tests.trials.plans import plan
from trials.together import read_together


@cache
def demo():
    return pool(read_together([demo_folder() / "group"]))


@cache
def made(outcome="yield", claim="better", worthwhile="10 %", gain=60.0, growers=4):
    aim = f'outcome = "{outcome}"\nclaim = "{claim}"\nworthwhile = "{worthwhile}"'
    trial = plan(blocks=4, units=2, flushes=2, aim=aim)
    return pool(simulated_group(trial, growers=growers, gain=gain, spread=30, lost=(0.15, 0.05)))


KINDS = {
    "demo": demo,
    "yield": made,
    "yield lost": lambda: made(gain=-120.0),
    "no worse": lambda: made("contamination", "no worse", "10 in 100"),
    "same": lambda: made(claim="same", worthwhile="40 g", gain=0.0),
    "two": lambda: made(growers=2),
}


@pytest.fixture(params=KINDS)
def analysis(request):
    return KINDS[request.param]()


def in_all(text):
    return re.sub(r"\s+", " ", text.replace("\N{NO-BREAK SPACE}", " "))


def test_the_first_screen_answers(analysis):
    report = write_group_report(analysis, figures=False)
    key = report.key
    assert key.headline
    assert any("One more grower like these should expect" in one for one in key.sentences)
    assert "growers" in key.basis
    assert all(step.startswith("Next") for step in key.steps)
    assert "bag" in report.key.basis


def test_the_page_says_nothing_that_no_page_may_say(analysis):
    report = write_group_report(analysis, figures=False)
    sections = tuple(one for one in report.sections if one.id != "statistician")
    text = to_text(replace(report, sections=sections)).lower()
    for phrase in NEVER:
        assert phrase not in text
    assert "this trial " not in to_text(replace(report, sections=())).lower()


def test_sentences_keep_to_their_row_of_the_table(analysis):
    trial = analysis.together.reference
    for answer in analysis.answers:
        finding = answer.finding
        scene = set_scene(finding, trial)
        row = HEDGES[finding.claim, kind_of(scene)]
        told = f"{group_headline(finding, trial)} {group_next(answer, trial)}"
        for phrase in row.never:
            assert phrase not in told
        again = judge(finding.estimate, claim=finding.claim, worthwhile=finding.worthwhile)
        assert again.verdict == finding.verdict


def test_the_range_for_one_more_grower_is_said_as_it_is(analysis):
    trial = analysis.together.reference
    for answer in analysis.answers:
        told = expected_ahead(answer, trial)
        ahead = answer.prediction
        per = set_scene(answer.finding, trial).measure.per
        numbers = [float(one) for one in re.findall(r"(?<![\d.])\d+(?:\.\d+)?", told)]
        half = (ahead.high - ahead.low) / 2 / per
        for end in (ahead.low / per, ahead.high / per):
            assert min(abs(abs(end) - number) for number in [0.0, *numbers]) <= 0.06 * half + 0.5
        if ahead.low < 0 < ahead.high:
            assert "anything from" in told
        assert "chance" in told


def test_an_average_is_no_advice_where_growers_differ():
    answer = made(gain=150.0).answers[0]
    sure = replace(answer, chance_worthwhile=0.99, differs="not shown")
    trial = made(gain=150.0).together.reference
    assert answer.finding.verdict == "shown"
    assert group_next(sure, trial).startswith("Next: change to mix 2")
    for doubtful in (replace(sure, differs="yes"), replace(sure, chance_worthwhile=0.6)):
        assert "beside your own mix first" in group_next(doubtful, trial)


def test_more_growers_are_said_in_words():
    answer, trial = demo().answers[0], demo().together.reference
    assert answer.more is not None
    some = replace(answer, more=MoreGrowers(now=7, wanted=12))
    assert "five more growers (12 in all)" in group_next(some, trial)
    none = replace(answer, more=MoreGrowers(now=7, wanted=None))
    assert "More than ten times as many growers" in group_next(none, trial)


@pytest.mark.parametrize(
    ("chance", "said"),
    [(0.0, "less than 1 in 100"), (0.05, "about 5 in 100"), (0.3, "about 3 in 10"),
     (0.88, "about 9 in 10"), (0.93, "about 93 in 100"), (1.0, "more than 99 in 100")],
)  # fmt: skip
def test_chances_in_words(chance, said):
    assert in_ten(chance) == said


def test_every_grower_of_the_demo_stands_on_the_page():
    analysis = demo()
    text = in_all(to_text(write_group_report(analysis), width=400))
    assert "lost, not to contamination" in text  # the lost shelf
    assert "Weighed in lb" in text
    assert "Picking stopped after flush 2 of 3" in text
    for one in analysis.notes:
        assert in_all(one.shown) in text
    assert "Invented data" in text


def test_folder_names_are_told_nowhere():
    together = demo().together
    renamed = {one.key: f"secret-{number}" for number, one in enumerate(together.growers)}
    growers = tuple(replace(one, key=renamed[one.key]) for one in together.growers)
    problems = {
        renamed[key]: tuple(replace(one, file=one.file.replace(key, renamed[key])) for one in told)
        for key, told in together.problems.items()
    }
    differences = tuple(replace(one, grower=renamed[one.grower]) for one in together.differences)
    analysis = pool(replace(together, growers=growers, problems=problems, differences=differences))
    report = write_group_report(analysis)
    assert "secret" not in to_html(report) + to_markdown(report) + to_text(report)
    assert "secret" not in json.dumps(group_results(analysis))


def test_results_are_held_to_their_schema(analysis):
    told = group_results(analysis)
    text = json.dumps(told, allow_nan=False)
    schema = json.loads((files("reports") / "templates" / GROUP_SCHEMA).read_text("utf-8"))
    jsonschema.Draft202012Validator(schema).validate(json.loads(text))
    first, answer = told["findings"][0], analysis.answers[0]
    assert first["estimate"] == answer.finding.estimate.value
    assert first["sentence"] == group_sentence(answer, analysis.together.reference)
    assert len(first["growers"]) == len(answer.growers)


def test_the_figure_tells_what_it_shows():
    analysis = demo()
    figure = figure_forest(analysis.answers[0], analysis.together.reference)
    for one in analysis.notes:
        assert one.shown in figure.alt
    assert "One more grower:" in figure.alt
    assert figure.title == group_headline(analysis.answers[0].finding, analysis.together.reference)
    assert figure.svg.startswith("<")
    again = figure_forest(analysis.answers[0], analysis.together.reference)
    assert (figure.svg, figure.png) == (again.svg, again.png)


def test_many_growers_are_drawn_thin():
    analysis = made()
    answer = analysis.answers[0]
    many = replace(answer, growers=answer.growers * 50)
    figure = figure_forest(many, analysis.together.reference)
    assert "in order of their answers" in figure.caption
    assert "upright mark" not in figure.caption
    assert "Grower A" not in figure.svg
    few = figure_forest(answer, analysis.together.reference)
    assert "Grower A" in few.svg
    assert len(figure.png) < 400_000


def test_no_picture_without_an_answer():
    analysis = made()
    answer = analysis.answers[0]
    blank = replace(answer.finding, verdict="withheld",
                    estimate=replace(answer.finding.estimate, withheld="nothing", low=math.nan,
                                     high=math.nan))  # fmt: skip
    empty = replace(answer, finding=blank, prediction=None, growers=())
    assert figure_forest(empty, analysis.together.reference) is None
    report = write_group_report(replace(analysis, answers=(empty,)))
    assert "cannot compare" in report.key.headline
    assert report.key.headline.startswith("These trials")


def test_nasty_names_are_escaped():
    together = demo().together
    names = list(NASTY.values())
    growers = tuple(
        replace(one, shown=str(names[place % len(names)]))
        for place, one in enumerate(together.growers)
    )
    report = write_group_report(pool(replace(together, growers=growers)))
    html = to_html(report)
    assert "<script" not in html
    assert Page(html)


def test_the_chance_is_of_the_draws():
    answer = demo().answers[0]
    ahead = answer.prediction
    assert isinstance(ahead, Prediction)
    worthwhile = answer.finding.worthwhile
    assert answer.chance_worthwhile == pytest.approx((ahead.draws > worthwhile).mean(), abs=1e-9)


def test_each_forest_says_in_its_title_what_it_is_about():
    trial = demo().together.reference
    titles = {
        one.finding.estimate.outcome: figure_forest(one, trial).title for one in demo().answers
    }
    assert titles["contamination"].startswith(
        "Losses to contamination, all growers together: anything"
    )
    assert titles["flush drop"].startswith("Kept from flush to flush, all growers together: any")
    assert len(set(titles.values())) == len(titles) == 3
