"""Past records as planning values, against the classical analysis of variance."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chi2

from analyses.rehearsing.past_spread import past_spread
from tests.analyses.made import records_of
from trials.problems import Refused


def test_balanced_blocks_give_the_mean_square_and_its_range():
    rng = np.random.default_rng(3)
    block, treatment = np.repeat(range(6), 6), np.tile(["A", "A", "A", "B", "B", "B"], 6)
    grams = 400 + rng.normal(0, 60, 6)[block] + rng.normal(0, 40, 36)
    found = past_spread(records_of(list(treatment), grams, block=[f"shelf {one}" for one in block]))
    design = np.column_stack([np.eye(6)[block], treatment == "B"]).astype(float)
    rest = np.linalg.lstsq(design, grams, rcond=None)[1][0]
    assert found.df == 29
    assert (found.cv * found.mean) ** 2 == pytest.approx(rest / 29, rel=1e-6)
    assert (found.cv_high * found.mean) ** 2 == pytest.approx(rest / chi2.ppf(0.1, 29), rel=1e-6)
    assert (found.cv_low * found.mean) ** 2 == pytest.approx(rest / chi2.ppf(0.9, 29), rel=1e-6)
    assert found.lost == 0
    # none of 36: the upper end of an 80 % range is 1 - 0.1^(1/36)
    assert found.lost_high == pytest.approx(1 - 0.1 ** (1 / 36))


def test_too_few_bags():
    with pytest.raises(Refused, match="Too few"):
        past_spread(records_of(["A", "B"], [400, 410]))
