"""How hard the main text of a page is to read, and the words that it never says.

Flesch-Kincaid grade: Kincaid, Fishburne, Rogers & Chissom (1975), Derivation of new readability
formulas, Research Branch Report 8-75, worked out by textstat.
"""

from __future__ import annotations

import re

import pytest
import textstat

from reports.page import to_text
from reports.report import write_report
from reports.wording.hedging import NEVER
from tests.analyses.few_layouts import few_layouts
from tests.reports.simulated import simulated_trial
from tests.reports.stories import MADE_UP, STORIES, main_text, story_report

HARDEST = 9.0
SIMULATED, SEED = {
    "days, no worse": 86, "days, better": 31, "losses by batch": 12, "split plot": 15,
    "flush drop, same": 121,
}, 20311  # fmt: skip


@pytest.fixture(scope="module", params=[*STORIES, *MADE_UP, *SIMULATED])
def report(request, tmp_path_factory):
    name = request.param
    if name in STORIES:
        return story_report(name, figures=False)
    if name in MADE_UP:
        return write_report(MADE_UP[name](), figures=False)
    with pytest.MonkeyPatch.context() as patch:
        few_layouts(patch)
        folder = tmp_path_factory.mktemp("simulated") / "trial"
        return write_report(simulated_trial(folder, SIMULATED[name], seed=SEED), figures=False)


def grade(text):
    """The grade; the point of a decimal number ends no sentence."""
    return textstat.flesch_kincaid_grade(re.sub(r"(?<=\d)[.,](?=\d)", "", text))


def test_the_grade_is_that_of_the_published_formula():
    """0.39 words a sentence + 11.8 syllables a word - 15.59 (Kincaid and others 1975)."""
    told = "The bags gave more. The mix was dry."
    assert grade(told) == pytest.approx(0.39 * 8 / 2 + 11.8 * 8 / 8 - 15.59, abs=0.1)


def test_the_main_text_is_easy_to_read(report):
    assert grade(main_text(report)) <= HARDEST


def test_the_first_screen_is_easy_to_read(report):
    key = report.key
    assert grade("\n".join([key.headline, *key.sentences, key.basis, *key.steps])) <= HARDEST


def test_the_main_text_never_says_what_no_verdict_may(report):
    text = to_text(report, width=100_000)
    start, end = (
        text.index(f"{section.heading}\n=")
        for section in report.sections[-2:]
        if section.id in ("statistician", "cautions")
    )
    main = text[:start] + text[end:]
    assert [word for word in NEVER if word in main.lower()] == []
    assert not re.search(r"\bp[ -]?values?\b|\bp\b\s*[=<>]|\bnan\b|\{|\}", main)
