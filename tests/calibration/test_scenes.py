"""The scenes of the README's table: that the trials are analysed as real ones, and how they err.

Run: python -m pytest -m slow tests/calibration/test_scenes.py, or python -m tests.calibration for
the table.
"""

from __future__ import annotations

import numpy as np
import pytest

from analyses.questions import analyse
from analyses.rehearsing.verdicts import VERDICTS, judge_many
from tests.calibration.found import WRONG, find_out
from tests.calibration.scenes import SCENES
from tests.calibration.tables import tables
from tests.calibration.worlds import WORLDS, analysed, drawn
from trials.designs import draw
from trials.simulated_records import to_records

SEED, TRIALS = 20_261_125, 2_000

# What is expected to lie elsewhere than near 5 %, and why: see the README.
ERRORS = {
    1: (2.5, 5.5),  # losses make totals that no t expects: it errs less
    5: (2.5, 5.5),  # the same of skewed yields
    6: (2.0, 4.5),  # an outlier widens every range
    8: (5.0, 8.5),  # one mix is lost five times as often as the other
}


def _agrees(scene, count):
    """Hold verdicts and ranges of the arrays against those of the whole analysis of records."""
    layout = draw(scene.trial)
    compared = 0
    for which in WORLDS:
        for claim in ("better", "no worse", "same"):
            trial = scene.claiming(claim)
            limits = analysed(scene, which, count, SEED, claim).limits
            codes = judge_many(limits, trial.aim)
            simulated = next(drawn(scene, which, count, SEED))
            for at in range(count):
                found = [
                    one
                    for one in analyse(to_records(trial, layout, simulated, at)).findings
                    if one.estimate.outcome == trial.aim.outcome
                ][: len(trial.challengers)]
                assert [VERDICTS[code] for code in codes[:, at]] == [one.verdict for one in found]
                for place, one in enumerate(found):
                    if one.verdict != "withheld":
                        told = limits.low[place, at], limits.high[place, at]
                        width = one.estimate.high - one.estimate.low
                        assert told == pytest.approx(
                            (one.estimate.low, one.estimate.high), abs=1e-6 * width
                        )
                        compared += 1
    return compared


def test_a_scene_of_yield_is_analysed_as_real_records_are():
    assert _agrees(SCENES[1], 1) > 4


@pytest.mark.slow
@pytest.mark.parametrize("place", range(len(SCENES)))
def test_every_scene_is_analysed_as_real_records_are(place):
    assert _agrees(SCENES[place], 2) > 10


@pytest.mark.slow
@pytest.mark.parametrize("place", range(len(SCENES)))
def test_how_often_it_is_wrong(place):
    """Within four standard errors of 2,000 trials (2 at 5 %) of what the table tells."""
    found = find_out(SCENES[place], TRIALS, SEED + place)
    low, high = ERRORS.get(place, (4.0, 6.0))
    assert low - 4 * 0.3 < found.error.value < high + 4 * 0.3
    assert 100 - high - 4 * 0.35 < found.coverage.value
    assert abs(found.bias.value) < 1.5 + 4 * found.bias.error
    largest = 6.0 if place == 8 else 4.5
    assert all(rate.value < largest + 4 * 0.4 for rate in found.wrong.values())


def test_the_table_tells_each_scene_and_how_sure_it_is():
    rows = [find_out(SCENES[0], 60, 1, peer_trials=5)]
    told = tables(rows, seed=1)
    assert SCENES[0].name in told
    assert all(name in told for name in WRONG)
    assert "standard errors" in told
    assert str(rows[0].error) in told


def test_an_outlier_is_one_bag_of_a_trial():
    scene = next(one for one in SCENES if one.outlier)
    simulated = next(drawn(scene, "nothing", 5, 3))
    again = scene.spoilt(simulated, np.random.default_rng(1))
    changed = (again.grams > 2 * simulated.grams).any(axis=1)
    assert (changed.sum(axis=0) <= 1).all()
    assert changed.any()
