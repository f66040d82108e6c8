"""Widths of larger trials, held against the intervals that such designs give."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from analyses.estimate import Estimate
from analyses.finding import Finding
from analyses.larger_trial import TIMES, widths
from analyses.models.mixed import fit_mixed
from tests.reports.invented import plan
from trials.trial import Design

BLOCKED = plan()
OPEN = plan(design=Design(layout="completely random", units_per_treatment=6, seed=3))


def finding(half, df, units=32):
    estimate = Estimate(
        outcome="yield", estimand="per bag started", treatment="O", control="B", value=60.0,
        low=60.0 - half, high=60.0 + half, level=0.95, low_alone=60.0 - half,
        high_alone=60.0 + half, p=0.01, df=df, unit="g", units=units, unit_counted="bag",
        method="made",
    )  # fmt: skip
    return Finding(
        id="made", estimate=estimate, claim="better", planned=True, explored_because="",
        verdict="shown", reasons=(), worthwhile=40.0, p_rerandomised=None, means=(),
    )  # fmt: skip


def in_blocks(blocks, each, seed):
    rng = np.random.default_rng(seed)
    treatment = np.tile(np.repeat(["B", "O"], each), blocks)
    block = np.repeat(np.arange(blocks).astype(str), 2 * each)
    return {
        "treatment": treatment, "block": block,
        "grams": rng.normal(400, 20, blocks)[block.astype(int)] + rng.normal(0, 50, len(block)),
    }  # fmt: skip


@pytest.mark.parametrize("times", TIMES)
def test_degrees_of_freedom_are_those_of_the_larger_design(times):
    """Kenward and Roger's df of balanced complete blocks, fitted at each size."""
    df = [
        float(
            fit_mixed(in_blocks(n, 2, seed=5), "grams", "treatment", ["block"])
            .contrasts("treatment")["df"].iloc[0]
        )
        for n in (8, 8 * times)
    ]  # fmt: skip
    told = widths(finding(40.0, df[0]), BLOCKED)
    assert told[times - 1].df == pytest.approx(df[1], rel=1e-6)


@pytest.mark.parametrize("times", TIMES)
def test_widths_are_those_of_the_t_interval(times):
    """Two means of n units each with standard deviation s: t(2n - 2) s sqrt(2 / n)."""
    sd, n = 60.0, 6

    def half(units):
        return stats.t.ppf(0.975, 2 * units - 2) * sd * math.sqrt(2 / units)

    told = widths(finding(half(n), 2 * n - 2, units=2 * n), OPEN)[times - 1]
    assert told.half_width == pytest.approx(half(times * n), rel=1e-9)
    assert told.df == 2 * times * n - 2
    assert told.units == 2 * times * n


def test_without_degrees_of_freedom_it_falls_with_the_root():
    told = widths(finding(10.0, None), OPEN)
    assert [one.half_width for one in told] == pytest.approx([10 / math.sqrt(n) for n in TIMES])


def test_no_range_no_width():
    assert widths(finding(math.nan, 14.0), BLOCKED) == ()
    assert widths(finding(math.inf, 14.0), BLOCKED) == ()
