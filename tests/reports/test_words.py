"""Sentences held against the numbers that they speak of."""

from __future__ import annotations

import dataclasses
import math
import random

import pytest

from analyses.estimate import Span
from analyses.finding import Mean
from reports.wording.headlines import EXPLORED, headline
from reports.words import evidence, sentence
from tests.reports.invented import (
    estimate,
    finding,
    four_mixes,
    one_batch_a_side,
    plan,
    shortcut,
    two_mixes,
)  # fmt: skip
from tests.reports.reader import contradictions, read
from trials.trial import Aim, Margin

UNITS = {
    "yield": ("g", 60.0), "contamination": ("bags in 100", 10.0), "flush drop": ("points", 8.0),
    "days to colonise": ("days", 3.0), "days to pins": ("days", 3.0),
}  # fmt: skip


def random_finding(rng):
    outcome = rng.choice(list(UNITS))
    unit, margin = UNITS[outcome]
    value = rng.gauss(0, 1.5 * margin)
    below, above = (abs(rng.gauss(0, margin)) + margin / 50 for _ in range(2))
    claim = rng.choice(["better", "no worse", "same"])
    worthwhile = None if claim == "better" and rng.random() < 0.2 else margin * rng.uniform(0.3, 2)
    share = Span(value=value / 4, low=(value - below) / 4, high=(value + above) / 4, unit="%")
    found = estimate(
        value, value - below, value + above, outcome=outcome, unit=unit,
        units=rng.randint(4, 200), level=rng.choice([0.8, 0.9, 0.95, 0.99]),
        percent=share if outcome == "yield" else None,
    )  # fmt: skip
    return finding(found, claim, worthwhile, planned=rng.random() < 0.8)


@pytest.mark.parametrize("seed", range(8))
def test_no_sentence_contradicts_its_finding(seed):
    rng = random.Random(seed)
    for _ in range(500):
        told = random_finding(rng)
        trial = plan(weights=rng.choice(["g", "kg", "oz", "lb"]))
        text = sentence(told, trial, explain=rng.random() < 0.5)
        assert contradictions(text, told, trial) == [], text


@pytest.mark.parametrize(
    "analysis", [two_mixes, four_mixes, one_batch_a_side, shortcut], ids=lambda one: one.__name__
)
def test_invented_trials_are_told_as_they_are(analysis):
    analysed = analysis()
    for told in analysed.findings:
        text = sentence(told, analysed.records.trial)
        assert contradictions(text, told, analysed.records.trial) == [], text


def test_the_reader_finds_a_sentence_that_lies():
    trial = plan()
    told = finding(estimate(60.0, 20.0, 100.0), "better", 90.0)
    text = sentence(told, trial)
    assert contradictions(text, told, trial) == []
    for wrong, right in (
        ("; how much more is open", ", and by enough to matter"),
        ("between 20 g", "between 30 g"),
        ("about 60 g more", "about 60 g less"),
        ("gave more than", "gave less than"),
        ("48 bags", "84 bags"),
        ("gave more than", "gave significantly more than"),
    ):
        assert wrong in text
        assert contradictions(text.replace(wrong, right), told, trial) != []


# The first screen of a page as the tone is fixed: a gain whose size is open.
def test_gain_of_open_size():
    trial = plan()
    share = Span(value=15.0, low=5.0, high=25.0, unit="%")
    told = finding(estimate(60.4, 20.2, 100.6, percent=share), "better", 61.0)
    assert sentence(told, trial, explain=True) == (
        "10 % okara gave more than 10 % wheat bran; how much more is open. "
        "It gave about 60 g more per bag: between 20 g and 101 g more fits these bags "
        "(19 times in 20 such ranges hold the truth). That is about 15 % more (between 5 % and "
        "25 %). You said 15 % (61 g here) would be worth changing for; this trial shows a gain, "
        "but not yet that it is that big. This rests on 48 bags. Next: choose by price and work. "
        "To settle it would take more than ten times as many bags as now (48); that is a rough "
        "guess."
    )


@pytest.mark.parametrize(
    ("claim", "low", "high", "opening"),
    [
        ("better", 70, 100, "X gave more than C, and by enough to matter."),
        ("better", 20, 100, "X gave more than C; how much more is open."),
        ("better", -20, 20, "Any difference between X and C is smaller than the one you said "
         "would matter."),
        ("better", -20, 100, "This trial cannot tell whether X would give more than C."),
        ("better", -100, -20, "X gave less than C."),
        ("better", 5, 20, "X gave more than C, but by less than you said would matter."),
        ("better", -150, 30, "X did not gain enough over C to matter."),
        ("no worse", -20, 100, "X gave at most 20 g less per bag than C, as far as this trial can "
         "tell."),
        ("no worse", -100, -70, "X gave less than C, and by more than you allowed."),
        ("no worse", -100, 20, "This trial cannot tell whether X would give less than C by more "
         "than you allowed."),
        ("same", -20, 20, "Any difference between X and C is smaller than the one you said would "
         "matter."),
        ("same", 70, 100, "X gave more than C, and by enough to matter."),
        ("same", -20, 100, "This trial cannot tell whether X and C differ by enough to matter."),
    ],
)  # fmt: skip
def test_each_verdict_has_its_fixed_opening(claim, low, high, opening):
    told = finding(estimate((low + high) / 2, low, high), claim, 60.0)
    said = headline(told, plan())
    assert said.replace("10 % okara", "X").replace("10 % wheat bran", "C") == opening


def test_losses_are_said_in_a_hundred_and_fewer():
    told = finding(
        estimate(-8.2, -13.4, -3.1, outcome="contamination", unit="bags in 100"), "better", 2.0
    )
    text = sentence(told, plan())
    assert "lost fewer bags than 10 % wheat bran, and by enough to matter" in text
    assert "about 8 fewer in a hundred: between 3 and 13 fewer fits these bags" in text


def test_nothing_lost_is_never_said_as_nought_per_cent():
    analysed = shortcut()
    text = sentence(analysed.findings[0], analysed.records.trial)
    assert "None of 40 was lost with Steamed 2 hours and none of 40 with Steamed 3 hours" in text
    assert "at most 9 more in a hundred" in text
    assert "You allowed 10 more in a hundred." in text
    assert "0 %" not in text


def test_one_batch_a_side_is_described_and_no_more():
    analysed = one_batch_a_side()
    text = sentence(analysed.findings[0], analysed.records.trial)
    assert text.startswith("One batch a side cannot tell a better method from a luckier batch.")
    assert read(text).low is None
    assert "fits" not in text
    assert "several batches a side" in text


def test_explored_has_words_of_its_own():
    found = estimate(60.0, 50.0, 70.0)
    planned = finding(found, "better", 40.0)
    explored = finding(found, "better", 40.0, planned=False)
    trial = plan()
    assert headline(explored, trial) == EXPLORED
    assert "enough to matter" in headline(planned, trial)
    assert "worth changing" not in evidence(explored, trial)
    assert "change to" not in sentence(explored, trial)
    assert "make it the aim of the next trial" in sentence(explored, trial)


def test_the_interval_is_explained_only_when_asked():
    told, trial = finding(estimate(level=0.9)), plan()
    assert "9 times in 10 such ranges hold the truth" in sentence(told, trial, explain=True)
    assert "hold the truth" not in sentence(told, trial)


def test_ranges_that_hold_together_say_so():
    told = finding(estimate(60.0, 20.0, 100.0, low_alone=28.0, high_alone=92.0))
    assert "all such ranges of a trial hold the truth" in sentence(told, plan(), explain=True)


def test_a_margin_is_said_as_the_grower_wrote_it():
    trial = plan(aim=Aim(outcome="yield", worthwhile=Margin(value=2.25, unit="oz")), weights="oz")
    told = finding(estimate(100.0, 70.0, 130.0), "better", 2.25 * 453.59237 / 16)
    assert "You said 2.25 oz would be worth changing for." in sentence(told, trial)


def test_no_limit_is_rounded_across_nothing_or_the_margin():
    trial = plan(aim=Aim(outcome="yield", worthwhile=Margin(value=60.0, unit="g")))
    just = finding(estimate(300.0, 0.4, 599.6), "better", 60.0)
    assert "between 0.4 g and" in sentence(just, trial)
    nearly = finding(estimate(300.0, 59.7, 540.3), "better", 60.0)
    assert nearly.verdict == "shown, size open"
    assert "between 59.7 g and" in sentence(nearly, trial)


def test_an_endless_percentage_is_left_out():
    share = Span(value=15.0, low=-math.inf, high=math.inf, unit="%")
    told = finding(estimate(60.0, 20.0, 100.0, percent=share))
    assert "That is about" not in sentence(told, plan())


def test_an_interval_without_an_end_still_reads():
    text = sentence(finding(estimate(60.0, 20.0, math.inf)), plan())
    assert "20 g more or beyond fits these bags" in text
    assert "inf" not in text


def test_days_and_shares_have_their_words():
    days = finding(estimate(2.0, 1.0, 3.04, outcome="days to pins", unit="days"))
    assert "took longer to first pins than" in sentence(days, plan())
    assert "between 1 day and 3 days longer" in sentence(days, plan())
    kept = finding(estimate(5.0, 1.0, 9.0, outcome="flush drop", unit="points"))
    assert "kept more from one flush to the next than" in sentence(kept, plan())


def test_the_grower_s_own_word_is_used():
    found = estimate(unit_counted="box", units=12)
    told = sentence(finding(found), plan(unit="box"))
    assert "fits these boxes" in told
    assert "This rests on 12 boxes." in told


def test_means_of_a_withheld_finding_keep_their_sides():
    def mean(code, value):
        return Mean(
            treatment=code, estimand="per bag started", value=value, low=math.nan, high=math.nan,
            sd=1.0, n=9, unit="g",
        )  # fmt: skip

    found = estimate(math.nan, math.nan, math.nan, withheld="too few", units=9)
    told = finding(found, means=(mean("B", 400.0), mean("O", 300.0)))
    told = dataclasses.replace(told, verdict="withheld")
    assert "gave 300 g per bag with 10 % okara and 400 g per bag with 10 % wheat bran" in sentence(
        told, plan()
    )
