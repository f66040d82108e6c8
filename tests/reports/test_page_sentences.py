"""Whole pages read back: the stories, a few simulated trials, and pages that were made to lie."""

from __future__ import annotations

import re

import pytest

from reports.page import to_text
from reports.report import write_report
from reports.wording.grammar import capital
from tests.analyses.few_layouts import few_layouts
from tests.reports.page_sentences import WIDE, page_contradictions
from tests.reports.simulated import simulated_trial
from tests.reports.stories import SINGLE, story, story_report

SEED = 20311
TOLD = (0, 299, 483, 495)
"""Of the simulated trials: several layouts, outcomes and claims, one or more treatments. In 299 two
treatments lie on opposite sides, in 483 a
ratio is beyond all numbers, in 495 a variance of small samples comes out below nothing."""


@pytest.mark.parametrize("name", SINGLE)
def test_a_story_says_what_its_analysis_holds(name):
    assert page_contradictions(to_text(story_report(name), width=WIDE), story(name)) == []


@pytest.fixture(scope="module")
def simulated(tmp_path_factory):
    """Pages with their analyses, by number."""
    told = {}
    with pytest.MonkeyPatch.context() as patch:
        few_layouts(patch)
        for number in TOLD:
            analysis = simulated_trial(tmp_path_factory.mktemp("trial"), number, seed=SEED)
            told[number] = to_text(write_report(analysis, figures=False), width=WIDE), analysis
    return told


@pytest.fixture(scope="module", params=[*SINGLE, *TOLD])
def page(request, simulated):
    """The plain text of a page, and its analysis."""
    if request.param in SINGLE:
        return to_text(story_report(request.param, figures=False), width=WIDE), story(request.param)
    return simulated[request.param]


def test_a_simulated_trial_is_told_as_it_is(page):
    assert page_contradictions(*page) == []


_TURNED = {"more": "less", "less": "more", "fewer": "more", "longer": "less"}


def _turn(line):
    return re.sub(r"\b(more|less|fewer|longer)\b", lambda word: _TURNED[word[1]], line)


def _number_off(line):
    """Make the last limit of the range half as large again, and a bit."""
    start = line.index(" fits these")
    found = list(re.finditer(r"\d+(?:\.\d+)?", line[:start]))[-1]
    return f"{line[: found.start()]}{float(found[0]) * 1.5 + 3:g}{line[found.end() :]}"


def _sizes(text):
    main = text[: text.index("The numbers for a statistician")]
    return [
        line for line in main.splitlines()
        if "fits these" in line and not line.startswith("[") and "Whether that changes" not in line
    ]  # fmt: skip


def test_a_turned_direction_is_caught(page):
    text, analysis = page
    for line in _sizes(text):
        assert page_contradictions(text.replace(line, _turn(line)), analysis), line


def test_a_number_that_is_off_is_caught(page):
    text, analysis = page
    for line in _sizes(text):
        assert page_contradictions(text.replace(line, _number_off(line)), analysis), line


def test_a_percentage_that_is_off_is_caught(page):
    text, analysis = page
    for said in set(re.findall(r"That is about \d+(?:\.\d+)? %", text)):
        lied = said.replace("about ", "about 1")
        assert page_contradictions(text.replace(said, lied), analysis), said


def test_a_size_that_is_left_out_or_told_twice_is_caught(page):
    text, analysis = page
    for line in _sizes(text):
        assert page_contradictions(text.replace(f"{line}\n", ""), analysis), line
        assert page_contradictions(text.replace(line, f"{line}\n{line}"), analysis), line


def _headline(text, analysis):
    opening = write_report(analysis, figures=False).key.headline
    assert text.count(opening) >= 1
    return opening


VERDICTS = (
    "{it} gave more than {c}, and by enough to matter.",
    "{it} gave less than {c}.",
    "{it} lost fewer {units} than {c}; how many fewer is open.",
    "Any difference between {it} and {c} is smaller than the one you said would matter.",
    "This trial cannot tell whether {it} would give more than {c}.",
    "This trial cannot tell whether {it} and {c} differ by enough to matter.",
    "{it} kept more from one flush to the next than {c}, and by more than you allowed.",
    "{it} took longer to colonise than {c}, and by enough to matter.",
    "{it} is the same as {c}.",
)


def test_another_verdict_is_caught(page):
    text, analysis = page
    told, trial = _headline(text, analysis), analysis.records.trial
    for template in VERDICTS:
        lied = " ".join(
            capital(template.format(it=one.name, c=trial.control.name, units=f"{trial.unit}s"))
            for one in trial.challengers
        )
        as_true = "This trial cannot tell" in lied and "this trial cannot tell" in told.lower()
        if lied != told and not as_true:
            assert page_contradictions(text.replace(told, lied), analysis), lied


def test_names_that_changed_places_are_caught(page):
    text, analysis = page
    told, trial = _headline(text, analysis), analysis.records.trial
    it, control = trial.challengers[0].name, trial.control.name
    swap = {it.lower(): control, control.lower(): it}
    either = re.compile("|".join(map(re.escape, (it, control))), re.IGNORECASE)
    for line in [told, *(one for one in _sizes(text) if control in one)]:
        lied = capital(either.sub(lambda name: swap[name[0].lower()], line))
        if {it.lower(), control.lower()} <= {one.lower() for one in either.findall(line)}:
            assert page_contradictions(text.replace(line, lied), analysis), lied


@pytest.mark.parametrize(
    ("pattern", "lie"),
    [
        (r"repeat with about (\d+)", lambda said: f"repeat with about {int(said[1]) * 3}"),
        (r"this trial had (\d+)", lambda said: f"this trial had {int(said[1]) + 1}"),
        (r"comparison rests on (\d+)", lambda said: f"comparison rests on {int(said[1]) + 1}"),
        (r"^(\d+)( .+ drawn by lot)", lambda said: f"{int(said[1]) + 2}{said[2]}"),
        (r"^- (\d+)( of \d+ .+ (?:was|were) lost)", lambda said: f"- {int(said[1]) + 1}{said[2]}"),
        (r"(\d+) times in (\d+) (?:all )?such", lambda said: f"5 times in {said[2]} such"),
        (r"Next(.*): change to.*", lambda said: f"Next{said[1]}: choose by price and work."),
        (r"Next(.*): stop here and keep.*", lambda said: f"Next{said[1]}: repeat with more."),
        (r"Next(.*): choose by.*", lambda said: f"Next{said[1]}: repeat with about 1 bag."),
        (r"gave more", lambda said: "gave significantly more"),
    ],
    ids=lambda one: one if isinstance(one, str) else "",
)
def test_units_advice_and_forbidden_words_are_caught(page, pattern, lie):
    text, analysis = page
    main = text[: text.index("The numbers for a statistician")]
    for found in re.finditer(pattern, main, re.MULTILINE):
        lied = f"{text[: found.start()]}{lie(found)}{text[found.end() :]}"
        assert page_contradictions(lied, analysis), found[0]
