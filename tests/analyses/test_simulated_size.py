"""Sizes found by rehearsal, where a closed form tells the same; then what has none."""

from __future__ import annotations

import pytest

from analyses.rehearsing.simulated_size import simulate_size
from reports.wording.simulated_size_words import simulated_size_lines, simulated_size_table
from tests.analyses.test_rehearsal import STEADY
from tests.trials.plans import plan
from trials.sizing.size_question import SizeQuestion, answer_size
from trials.sizing.size_rounds import simple_rounds


@pytest.mark.parametrize(
    ("claim", "worthwhile"), [("better", "12 g"), ("no worse", "16 g"), ("same", "18 g")]
)
def test_the_closed_form_is_found_again(claim, worthwhile):
    aim = f'outcome = "yield"\nclaim = "{claim}"\nworthwhile = "{worthwhile}"'
    trial = plan(blocks=5, units=2, flushes=1, aim=aim)
    found = simulate_size(trial, trials=1500, seed=3, assumptions=STEADY)
    known = answer_size(
        SizeQuestion(
            outcome="yield", claim=claim, treatments=2, rounds=simple_rounds(2, 2, blocks=5),
            cv=0.0408, worthwhile=float(worthwhile.split()[0]) / 400,
        )
    )  # fmt: skip
    planned = found.planned
    assert planned.reach == pytest.approx(400 * known.reach, abs=4 * planned.reach_error)
    assert planned.power == pytest.approx(known.power_now, abs=4 * planned.power_error)
    assert planned.width == pytest.approx(400 * known.width, rel=0.02)
    assert abs(found.bags_needed - known.bags_needed) <= 8
    assert found.needed is None or found.needed.power > 0.74


def test_the_same_for_a_seed():
    trial = plan(blocks=5, units=2, flushes=1)
    one, again, other = (
        simulate_size(trial, trials=100, seed=seed, assumptions=STEADY) for seed in (3, 3, 4)
    )
    assert one == again
    assert one != other


def test_days_are_told_with_their_error():
    aim = 'outcome = "days to pins"\nclaim = "no worse"\nworthwhile = "9 days"'
    size = simulate_size(plan(blocks=4, units=4, aim=aim), trials=30)
    lines = simulated_size_lines(size)
    assert lines[0].startswith(
        "With 32 bags on 4 shelves you would show that one just as good is worse by less than "
    )
    assert f"(± {size.planned.reach_error:.1f})" in lines[0]
    assert "9 days" in lines[0]
    assert any("rehearsing 30 trials for each number" in line for line in lines)
    assert simulated_size_table(size).rows[0][0] == "32"


def test_beyond_twelve_times_is_said_so():
    trial = plan(blocks=3, units=1, flushes=1, aim='outcome = "yield"\nworthwhile = "1 g"')
    size = simulate_size(trial, trials=60, assumptions=STEADY)
    assert size.bags_needed is None
    assert "more than twelve times as many bags" in simulated_size_lines(size)[0]
