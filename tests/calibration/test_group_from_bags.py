"""How often a group's answers hold, from bags to verdict.

Run: python -m pytest -m slow tests/calibration/test_group_from_bags.py
or, to print the tables of RESULTS.md: python -m tests.calibration.test_group_from_bags
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analyses.comparison import Sample
from analyses.models.trials_together.prediction import predict_one_more
from analyses.pooling.one_stage import one_stage
from analyses.pooling.own import own_answers
from analyses.pooling.rows import group_terms
from tests.trials.plans import plan

TRIALS = {"yields": 400, "losses": 1_000}
DRAWS = 4_000
TRIAL = plan()

# Found in percent. Yields, 400 each (standard error 1.1): growers, blocks, standard deviation of
# the gain between growers in bags' standard deviations; coverage of the average by the one-stage
# model, and of one more grower's gain.
YIELDS = {
    (5, 4, 0.0): (99.5, 99.8),
    (5, 4, 0.7): (95.8, 94.0),
    (10, 4, 0.0): (98.2, 99.0),
    (10, 4, 0.7): (96.2, 95.5),
}
# Losses, 1,000 each (standard error 0.5): growers, bags a side, control's share, log odds'
# standard deviation between growers; "no worse" by 10 in 100 claimed where the treatment loses just
# so much more.
LOSSES = {
    (4, 20, 0.1, 0.5): 0.2,
    (7, 20, 0.02, 0.0): 0.7,
    (7, 20, 0.1, 0.5): 0.3,
    (7, 40, 0.1, 1.0): 0.1,
}


def sample(frame, outcome):
    unit = "g" if outcome == "yield" else "bags in 100"
    return Sample(frame=frame, outcome=outcome, estimand="per bag started", unit=unit,
                  random=group_terms(frame), counted="bag")  # fmt: skip


def rows(growers, blocks, each):
    grower, block, side, _ = (part.ravel() for part in np.indices((growers, blocks, 2, each)))
    frame = pd.DataFrame(
        {
            "grower": np.char.add("g", grower.astype(str)),
            "treatment": np.where(side == 1, "T2", "T1"),
            "block": np.char.add("b", block.astype(str)) if blocks > 1 else "",
            "batch": "",
        }
    )
    return frame, grower, block, side


def yields_covered(growers, blocks, spread):
    """Give how often the average's range and the range ahead hold, in percent."""
    rng = np.random.default_rng(80_000 + 100 * growers + 10 * blocks + round(10 * spread))
    frame, grower, block, side = rows(growers, blocks, 2)
    hits = np.zeros(2)
    for trial in range(TRIALS["yields"]):
        gains = rng.normal(0, spread, growers + 1)
        level, shelf = rng.normal(0, 2, growers), rng.normal(0, 0.5, (growers, blocks))
        y = level[grower] + shelf[grower, block] + gains[grower] * side
        made = sample(frame.assign(response=y + rng.normal(0, 1, len(y))), "yield")
        one = one_stage(made, TRIAL, level=0.95).estimates[0]
        owns = own_answers(made, TRIAL, "T2", level=0.95)
        ahead = predict_one_more(
            [own.value for own in owns], [own.variance for own in owns], seed=trial, draws=DRAWS
        )
        low, high = min(ahead.low, one.low), max(ahead.high, one.high)
        hits += [one.low <= 0 <= one.high, low <= gains[-1] <= high]
    return tuple(np.round(100 * hits / TRIALS["yields"], 1).tolist())


def losses_missed(growers, bags, share, spread):
    """Give how often “no worse” is claimed at just the margin, in percent."""
    rng = np.random.default_rng(90_000 + 100 * growers + bags + round(100 * (share + spread)))
    frame, grower, _, side = rows(growers, 1, bags)
    claimed = 0
    for _ in range(TRIALS["losses"]):
        logit = np.log(share / (1 - share)) + rng.normal(0, spread, growers)
        base = 1 / (1 + np.exp(-logit))
        lost = rng.random(len(side)) < base[grower] + 0.1 * side
        made = sample(frame.assign(response=100.0 * lost), "contamination")
        one = one_stage(made, TRIAL, level=0.95).estimates[0]
        claimed += one.high < 10
    return round(100 * claimed / TRIALS["losses"], 1)


@pytest.mark.slow
@pytest.mark.parametrize(("growers", "blocks", "spread"), YIELDS)
def test_ranges_of_yields(growers, blocks, spread):
    average, ahead = found = yields_covered(growers, blocks, spread)
    assert average >= 93
    assert ahead >= 92
    assert found == pytest.approx(YIELDS[growers, blocks, spread], abs=0.3)


@pytest.mark.slow
@pytest.mark.parametrize(("growers", "bags", "share", "spread"), LOSSES)
def test_no_worse_claimed_at_the_margin(growers, bags, share, spread):
    found = losses_missed(growers, bags, share, spread)
    assert found <= 4.5
    assert found == pytest.approx(LOSSES[growers, bags, share, spread], abs=0.3)


if __name__ == "__main__":
    for key in [(5, 4, 0.0), (5, 4, 0.7), (10, 4, 0.0), (10, 4, 0.7)]:
        print(f"    {key}: {yields_covered(*key)},", flush=True)
    for key in [(4, 20, 0.1, 0.5), (7, 20, 0.02, 0.0), (7, 20, 0.1, 0.5), (7, 40, 0.1, 1.0)]:
        print(f"    {key}: {losses_missed(*key)},", flush=True)
