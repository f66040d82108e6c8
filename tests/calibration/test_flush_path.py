"""How often the share kept is covered by the whole path: records in, judged differences out.

Run: python -m pytest -m slow tests/calibration/test_flush_path.py
Here the spread of each flush is looked at as in the report, and the difference of two shares has
the degrees of freedom of its own linear form. What was found stands in RESULTS.md beside this file.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from analyses.flushes import flush_answer
from analyses.unit import unit_story
from tests.analyses.made import records_of
from tests.calibration.test_flush_coverage import BAG, FLUSH, KEPT, RACK

TRIALS = 1_500

# Blocks, bags of each of two treatments in a block, flushes, chance that a later flush is missing.
# Found in percent, 1,500 trials each (standard error 0.56): coverage of the 95 % interval of one
# share kept, of the difference of two shares in hundredths, of their ratio.
FOUND = {
    (4, 1, 3, 0.0): (94.47, 94.33, 93.87),
    (6, 1, 2, 0.0): (95.27, 95.80, 95.80),
    (3, 2, 4, 0.1): (94.73, 93.87, 93.80),
    (1, 4, 3, 0.15): (95.47, 94.87, 94.73),
}


def frame_of(blocks, bags, flushes):
    """Make the records of one layout; the weights are put in later."""
    treatment, block, _ = np.indices((2, blocks, bags)).reshape(3, -1)
    labels = np.array(["C", "T"])[treatment].tolist()
    where = [f"rack {one + 1}" for one in block] if blocks > 1 else None
    grams = np.full((len(labels), flushes), 300.0)
    aim = 'outcome = "flush drop"\nclaim = "better"\nworthwhile = "5 in 100"'
    return records_of(labels, grams, block=where, control="C", aim=aim), treatment, block


def covered(blocks, bags, flushes, gone):
    rng = np.random.default_rng(45_000 + 100 * blocks + 10 * bags + flushes)
    records, treatment, block = frame_of(blocks, bags, flushes)
    unit = unit_story(records)
    truth = 100 * np.exp(KEPT)
    held, told = np.zeros(3), 0
    for _ in range(TRIALS):
        logs = 5.6 + KEPT[treatment, None] * np.arange(flushes)
        logs = logs + FLUSH * rng.normal(size=logs.shape)
        logs += BAG * rng.normal(size=(len(logs), 1)) + RACK * rng.normal(size=blocks)[block, None]
        grams = np.exp(logs)
        grams[(rng.random(grams.shape) < gone) & (np.arange(flushes) > 0)] = 0.0
        table = records.flushes.assign(grams=grams.ravel())
        answer = flush_answer(dataclasses.replace(records, flushes=table), unit, level=0.95)
        (one,) = answer.estimates
        if one.withheld:
            continue
        (mean,) = (each for each in answer.means if each.treatment == "T")
        ratio = 100 * (truth[1] / truth[0] - 1)
        told += 1
        held += (
            mean.low <= truth[1] <= mean.high,
            one.low <= truth[1] - truth[0] <= one.high,
            one.percent.low <= ratio <= one.percent.high,
        )
    assert told >= 0.99 * TRIALS
    return tuple(100 * held / told)


@pytest.mark.slow
@pytest.mark.parametrize("design", FOUND)
def test_coverage_through_the_path(design):
    found = covered(*design)
    assert min(found) >= 93.5
    assert max(found) <= 97
    assert found == pytest.approx(FOUND[design], abs=0.05)
