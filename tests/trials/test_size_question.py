"""Sizes three ways round for whole designs, against published rules and closed forms."""

from __future__ import annotations

import pytest

from tests.trials.plans import plan
from trials.designs import draw
from trials.problems import Refused
from trials.sizes import complete_blocks
from trials.sizing.control_sizes import power_against_control
from trials.sizing.published_table import find_replicates, read_table
from trials.sizing.size_question import SizeQuestion, answer_size, power_of, reach_curve
from trials.sizing.size_rounds import rounds_of, simple_rounds
from trials.trial_file import check_trial


@pytest.mark.parametrize(
    ("cv", "difference", "blocks"),
    # blocks for 80 %, noncentral t with (r - 1)(t - 1) df, two recipes
    [(10, 10, 18), (10, 20, 7), (20, 20, 18), (20, 30, 10), (30, 20, 38), (30, 50, 8)],
)
def test_blocks_of_the_published_rule(cv, difference, blocks):
    question = SizeQuestion(
        outcome="yield", claim="better", treatments=2, rounds=simple_rounds(2, 1, blocks=6),
        cv=cv / 100, worthwhile=difference / 100,
    )  # fmt: skip
    assert answer_size(question).rounds_needed == blocks


def test_groups_of_cohen():
    # Cohen (1988), table 2.4.1: d = 0.5 needs 64 a group for 80 %
    question = SizeQuestion(
        outcome="yield", claim="better", treatments=2, rounds=simple_rounds(2, 10), cv=0.2,
        worthwhile=0.1,
    )  # fmt: skip
    assert answer_size(question).rounds_needed == 64
    assert answer_size(question).bags_needed == 128


def test_shares_of_the_help_example_of_r():
    # power.prop.test: .50 against .75, 90 %: 76.7, so 77 a group
    question = SizeQuestion(
        outcome="contamination", claim="better", treatments=2, rounds=simple_rounds(2, 40),
        lost=0.75, worthwhile=0.25, power=0.9,
    )  # fmt: skip
    assert answer_size(question).rounds_needed == 77


@pytest.mark.parametrize("claim", ["better", "no worse", "same"])
@pytest.mark.parametrize("outcome", ["yield", "contamination"])
@pytest.mark.parametrize("bags", [0, 10])
def test_three_ways_round(outcome, claim, bags):
    question = SizeQuestion(
        outcome=outcome, claim=claim, treatments=3,
        rounds=simple_rounds(3, 30, bags_per_batch=bags), cv=0.2, cv_batch=0.1, lost=0.3,
        correlation=0.05, worthwhile=0.2,
    )  # fmt: skip
    answer = answer_size(question)
    assert power_of(question, answer.reach, 30) == pytest.approx(0.8, abs=1e-6)
    assert power_of(question, 0.2, answer.rounds_needed) >= 0.8
    assert power_of(question, 0.2, answer.rounds_needed - 1) < 0.8
    sizes = [reach for _, reach in reach_curve(question, 2000)]
    assert sizes == sorted(sizes, reverse=True)


def test_designs_by_least_squares_are_the_textbook_ones():
    for trial in (plan(treatments=3, blocks=4, units=2), plan(layout="completely random", units=5)):
        simple = rounds_of(trial, draw(trial)).precision(rounds_of(trial, draw(trial)).planned)
        from trials.sizing.size_rounds import _whole_layout

        whole = _whole_layout(trial, draw(trial)).precision(1)
        assert whole.factor == pytest.approx(simple.factor)
        assert whole.df == simple.df
    square = check_trial(
        'format = 1\n[trial]\ntitle = "A square"\nflushes = 1\n'
        + "".join(
            f'[[treatments]]\ncode = "{code}"\nname = "mix {code}"\n'
            + ("control = true\n" if code == "A" else "")
            for code in "ABCDE"
        )
        + '[design]\nlayout = "latin square"\nrow = "shelf"\ncolumn = "day"\nseed = 1\n'
        '[aim]\noutcome = "yield"\n'
    )
    precision = rounds_of(square, draw(square)).precision(1)
    # Cochran & Cox (1957), section 4.3: (t - 1)(t - 2) df
    assert precision.df == 12
    assert precision.factor == pytest.approx(2 / 5)


def test_a_published_table_gives_away_its_replicates():
    # Advances in Agriculture 2019, 6853627, table 3: four treatments, five columns
    table = [(23.75, 19.14, 9.08), (15.33, 21.60, 6.61), (6.25, 21.82, 2.72), (3.8, 20.85, 1.59),
             (49.16, 18.82, 18.5)]  # fmt: skip
    for mean, cv, lsd in table:
        found = find_replicates(mean=mean, cv=cv / 100, lsd=lsd, treatments=4)
        assert found[0] == ("blocks", 3, 6.0)
        back = read_table(mean=mean, lsd=lsd, replicates=3, treatments=4)
        assert 100 * back.cv == pytest.approx(cv, rel=0.005)


def test_other_columns_of_a_table():
    assert read_table(mean=200, sd=40).cv == pytest.approx(0.2)
    assert read_table(mean=200, se=10, replicates=4).cv == pytest.approx(0.1)
    for given in ({}, {"lsd": 5}, {"se": 5}, {"sd": -1}):
        with pytest.raises(Refused):
            read_table(mean=200, **given)


def test_several_treatments_as_in_the_closed_form():
    question = SizeQuestion(
        outcome="yield", claim="better", treatments=4, rounds=simple_rounds(4, 1, blocks=8),
        cv=0.2, worthwhile=0.3,
    )  # fmt: skip
    df = complete_blocks(8, 4).df
    expected = power_against_control(0.3, 0.2, 8, 3, df)
    assert answer_size(question).power_now == pytest.approx(expected, rel=1e-9)
