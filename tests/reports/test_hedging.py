"""The one table of what a verdict may say: whole, used by every sentence, and kept."""

from __future__ import annotations

import itertools
import re
from pathlib import Path
from string import Formatter
from typing import get_args

import pytest

import reports
from analyses.finding import Verdict
from reports.wording.headlines import headline, headline_together, hedge_of, kind_of
from reports.wording.hedging import HEDGES, NEVER, VERDICT_WORDS
from reports.wording.next_step import next_step, plan_step
from reports.wording.speech import set_scene
from tests.reports.invented import estimate, finding, plan
from trials.trial import CLAIMS

OUTCOMES = {
    "yield": "g", "contamination": "bags in 100", "flush drop": "points",
    "days to colonise": "days", "days to pins": "days",
}  # fmt: skip
ADVICE = ("change to", "stop here")
ENDS = (-90.0, -70.0, -40.0, -20.0, 0.0, 20.0, 40.0, 70.0, 90.0)


def findings():
    """Every place of an interval beside nothing and a margin of 60, for every claim and outcome."""
    for low, high in itertools.combinations(ENDS, 2):
        for claim, margin in itertools.product(CLAIMS, (60.0, None)):
            if margin is None and claim != "better":
                continue
            for outcome, unit in OUTCOMES.items():
                found = estimate((low + high) / 2, low, high, outcome=outcome, unit=unit)
                for planned in (True, False):
                    yield finding(found, claim, margin, planned=planned)
    for claim in CLAIMS:
        nan = float("nan")
        yield finding(estimate(nan, nan, nan, withheld="too few are left"), claim, 60.0)


def test_every_row_is_reached_and_none_is_missing():
    used = {(one.claim, kind_of(set_scene(one, plan()))) for one in findings()}
    assert used == set(HEDGES)


def test_no_sentence_says_what_its_row_forbids():
    trial = plan()
    for one in findings():
        scene = set_scene(one, trial)
        row = hedge_of(scene)
        heads, step = (headline(one, trial), headline_together([scene])), next_step(one, trial)
        told = (*heads, step)
        said = " ".join(heads).lower()
        assert not [word for word in row.never if word in said], said
        assert not [word for word in ADVICE if word in row.never and word in step.lower()], step
        said = " ".join(told).lower()
        assert not [word for word in NEVER if word in said], said
        assert not re.search(r"[{}]|nan|none", said), said
        assert all(part[0] == part[0].upper() and part.endswith(".") for part in told)


def test_the_advice_is_the_row_s():
    trial = plan()
    for one in findings():
        assert plan_step(one, trial).action == hedge_of(set_scene(one, trial)).action


def test_only_an_explored_row_is_a_hint():
    for (_, kind), row in HEDGES.items():
        assert ("hint" in row.alone) == ("hint" in row.together) == (kind == "explored")


def test_every_verdict_has_its_word():
    assert set(VERDICT_WORDS) == set(get_args(Verdict))


@pytest.mark.parametrize("row", HEDGES, ids=str)
def test_a_row_names_both_sides_or_is_a_hint(row):
    fields = {
        name for told in (HEDGES[row].alone, HEDGES[row].together)
        for _, name, _, _ in Formatter().parse(told) if name
    }  # fmt: skip
    assert "it" in fields or row[1] == "explored"


def test_the_verdict_s_words_stand_nowhere_else():
    """A second table would drift from the first."""
    folder = Path(reports.__file__).parent
    phrases = (
        "by enough to matter", "This trial cannot tell whether", "than you allowed is open",
        "smaller than the one you said", "Looked at afterwards; treat",
    )  # fmt: skip
    for file in folder.rglob("*.py"):
        # An example in a docstring uses a sentence; it makes none.
        lines = file.read_text(encoding="utf-8").splitlines()
        text = "\n".join(line for line in lines if not line.strip().startswith(">>>"))
        if file.name != "hedging.py":
            assert [phrase for phrase in phrases if phrase in text] == [], file
