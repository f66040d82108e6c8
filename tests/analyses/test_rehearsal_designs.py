"""Rehearsed split plots and trials at several growers against their closed forms."""

from __future__ import annotations

import pytest

from analyses.rehearsal import rehearse
from tests.analyses.test_rehearsal_same_analysis import GROWERS, SPLIT, STEAM_AND_MIX, made_plan
from trials.assumptions import Assumptions
from trials.designs import draw
from trials.sizing.size_question import SizeQuestion, power_of
from trials.sizing.size_rounds import rounds_of
from trials.sizing.split_rounds import split_rounds
from trials.trial import Margin

STEADY = Assumptions(
    mean=400, cv=0.05, cv_block=0.1, cv_batch=0.04, cv_grower=0.2, cv_grower_treatment=0.05,
    cv_flush=0, flush_fails=0, contaminated=0, missing=0, late_losses=0, spread="normal",
)  # fmt: skip
AIM = 'outcome = "yield"'


def test_a_split_plot_is_as_sure_as_the_closed_form():
    """Cochran & Cox (1957), section 7.15, with Satterthwaite's degrees of freedom."""
    trial = made_plan(SPLIT, aim=AIM, factors=STEAM_AND_MIX)
    found = rehearse(trial, 800, seed=4, assumptions=STEADY, effect=Margin(value=24, unit="g"))
    # The spread is relative: the middle of the two sides' is what both have on average.
    scale = ((1 + 1.06**2) / 2) ** 0.5
    apart, alone, *_ = split_rounds(trial, (0.04 / 0.05) ** 2)
    powers = [
        power_of(
            SizeQuestion(outcome="yield", claim="better", treatments=4, rounds=rounds,
                         cv=0.05 * scale), 0.06, rounds.planned,
        )
        for _, _, rounds in (alone, apart, apart)
    ]  # fmt: skip
    # Mixes B, C, D against A: B shares its batch.
    assert found.power == pytest.approx(sum(powers) / 3, abs=4 * found.power_error + 0.01)
    assert found.error_rate == pytest.approx(0.05, abs=4 * found.error_rate_error + 0.01)
    assert found.coverage == pytest.approx(0.95, abs=4 * found.coverage_error + 0.01)


def test_growers_are_as_sure_as_the_closed_form():
    """A mean a grower and treatment is one unit: complete blocks of growers."""
    trial = made_plan(GROWERS, "ACB", aim=AIM)
    rounds = rounds_of(trial, draw(trial))
    assert (rounds.planned, rounds.bags, rounds.bags_per_unit) == (4, 12, 4)
    assert rounds.precision(4).df == 6
    found = rehearse(trial, 200, seed=4, assumptions=STEADY, effect=Margin(value=48, unit="g"))
    question = SizeQuestion(
        outcome="yield", claim="better", treatments=3, rounds=rounds, cv=0.05 * 1.06,
        cv_batch=0.05 * 1.06,
    )  # fmt: skip
    assert found.power == pytest.approx(
        power_of(question, 0.12, 4), abs=4 * found.power_error + 0.02
    )
    assert found.coverage > 0.9
