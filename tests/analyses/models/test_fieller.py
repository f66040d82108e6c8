"""Fieller's interval against the closed form and a published example."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import t as student

from analyses.models.families.fieller import fieller
from analyses.models.mixed import fit_mixed


def test_two_independent_means_by_the_closed_form() -> None:
    """Fieller (1954): (m1 - r m2)^2 = t^2 s^2 (1/n1 + r^2/n2), solved by hand."""
    a, b = [12.0, 14, 13, 15, 11, 16], [20.0, 22, 19, 25]
    frame = {"y": a + b, "g": ["a"] * 6 + ["b"] * 4}
    fit = fit_mixed(frame, "y", "g", [])
    rows = fit.basis.rows({"g": ["a", "b"]})
    got = fieller(fit, rows[1], rows[0], df="kenward-roger")
    m1, m2 = np.mean(b), np.mean(a)
    s2 = (5 * np.var(a, ddof=1) + 3 * np.var(b, ddof=1)) / 8
    t2 = student.ppf(0.975, 8) ** 2
    roots = np.roots([m2**2 - t2 * s2 / 6, -2 * m1 * m2, m1**2 - t2 * s2 / 4])
    assert got.value == pytest.approx(m1 / m2)
    assert (got.low, got.high) == pytest.approx((roots.min(), roots.max()), rel=1e-10)


def test_the_interval_leaves_one_out_just_when_the_difference_leaves_nought_out() -> None:
    rng = np.random.default_rng(11)
    for _ in range(60):
        y = rng.normal(10, 2, 16) + np.repeat(rng.normal(0, 3, 4), 4) + 1.5 * np.tile([0, 1], 8)
        frame = {"y": y, "g": list("ab") * 8, "block": np.repeat(list("1234"), 4)}
        fit = fit_mixed(frame, "y", "g", ["block"])
        rows = fit.basis.rows({"g": ["a", "b"]})
        got = fieller(fit, rows[1], rows[0], df="kenward-roger")
        row = fit.contrasts("g", control="a").iloc[0]
        if got.bounded:
            assert (got.low > 1) == (row["low"] > 0)
            assert (got.high < 1) == (row["high"] < 0)


def test_a_mean_that_is_not_told_from_nought_gives_no_range() -> None:
    frame = {"y": [-1.0, 1, 0.2, 5, 6, 7], "g": list("aaabbb")}
    fit = fit_mixed(frame, "y", "g", [])
    rows = fit.basis.rows({"g": ["a", "b"]})
    got = fieller(fit, rows[1], rows[0], df="kenward-roger")
    assert not got.bounded
    assert math.isinf(got.high)
