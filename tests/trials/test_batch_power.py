"""Batches matter more than bags: power of whole batches by their number and their size."""

from __future__ import annotations

import math

import pytest
from scipy.stats import nct, t

from analyses.models.counts.dispersed import dispersed_stretch
from trials.sizing.batch_power import bags_tried, batch_power, batches_tried
from trials.sizing.size_question import SizeQuestion
from trials.sizing.size_rounds import simple_rounds

ASKED = SizeQuestion(
    outcome="contamination", claim="no worse", treatments=2,
    rounds=simple_rounds(2, 6, bags_per_batch=12), lost=0.05, correlation=0.05, worthwhile=0.08,
)  # fmt: skip

STRETCH = float(dispersed_stretch(0.05, 1, 0.05, 1, 0.08))
"""The standard error under a margin of 8 in 100 over that at 5 in 100, as the analysis has it."""


@pytest.mark.parametrize(("batches", "bags"), [(6, 12), (12, 12), (6, 24), (20, 4)])
def test_power_is_that_of_a_t_of_batches(batches, bags):
    """Noncentral t by scipy: variance of a batch's share p (1 - p) (1 + (m - 1) r) / m, as in
    Donner & Klar (2000), Design and Analysis of Cluster Randomization Trials, section 5.3; the
    point that has to be passed is larger by the standard error under the margin."""
    variance = 0.05 * 0.95 * (1 + (bags - 1) * 0.05) / bags
    df, error = 2 * batches - 2, math.sqrt(2 * variance / batches)
    expected = nct.sf(STRETCH * t.ppf(0.975, df), df, 0.08 / error)
    assert batch_power(ASKED, batches, bags).power == pytest.approx(expected, abs=2e-3)


def test_twice_the_batches_beat_twice_the_bags():
    for batches in (4, 6, 10):
        more = batch_power(ASKED, 2 * batches, 12).power
        fuller = batch_power(ASKED, batches, 24).power
        assert more > fuller + 0.05


def test_bags_beyond_one_over_the_correlation_add_nothing():
    """A batch of any size tells no more than 1 / 0.05 = 20 bags that stand alone."""
    huge = batch_power(ASKED, 6, 100_000).power
    df, error = 10, math.sqrt(2 * 0.05 * 0.95 * 0.05 / 6)
    assert huge == pytest.approx(nct.sf(STRETCH * t.ppf(0.975, df), df, 0.08 / error), abs=2e-3)
    assert batch_power(ASKED, 6, 10_000).power == pytest.approx(huge, abs=1e-3)


def test_what_is_tried_holds_the_plan():
    assert bags_tried(12) == (6, 12, 24, 48)
    assert bags_tried(1) == (1, 2, 4)
    assert 6 in batches_tried(6)
    assert max(batches_tried(6)) == 24
    assert 60 in batches_tried(60)
    assert min(batches_tried(1)) == 2


def test_without_a_difference_there_is_no_power():
    import dataclasses

    with pytest.raises(ValueError, match="has none"):
        batch_power(dataclasses.replace(ASKED, worthwhile=None), 6, 12)
