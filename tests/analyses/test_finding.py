"""The verdict follows the interval and the margin, by the table of the method and nothing else."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analyses.estimate import Estimate
from analyses.finding import judge

YIELD = Estimate(
    outcome="yield", estimand="per bag started", treatment="O", control="B", value=60.0, low=20.0,
    high=100.0, level=0.95, low_alone=20.0, high_alone=100.0, p=0.01, df=14.0, unit="g", units=32,
    unit_counted="bag", method="",
)  # fmt: skip


def verdict(low: float, high: float, claim: str, worthwhile: float | None) -> str:
    one = replace(YIELD, low=low, high=high, value=(low + high) / 2)
    return judge(one, claim=claim, worthwhile=worthwhile).verdict


@pytest.mark.parametrize(
    ("low", "high", "claim", "worthwhile", "expected"),
    [
        (60, 90, "better", 60, "shown"),
        (20, 90, "better", 60, "shown, size open"),
        (-20, 90, "better", 60, "not settled"),
        (-20, 59, "better", 60, "ruled out"),
        (20, 59, "better", 60, "ruled out"),
        (-90, -20, "better", 60, "ruled out"),
        (1, 90, "better", None, "shown"),
        (0, 90, "better", None, "not settled"),
        (-90, -1, "better", None, "ruled out"),
        (-9, 30, "no worse", 10, "shown"),
        (-10, 30, "no worse", 10, "not settled"),
        (-30, -11, "no worse", 10, "ruled out"),
        (-9, 9, "same", 10, "shown"),
        (-9, 11, "same", 10, "not settled"),
        (11, 30, "same", 10, "ruled out"),
        (-30, -11, "same", 10, "ruled out"),
    ],
)
def test_verdicts(low, high, claim, worthwhile, expected) -> None:
    assert verdict(low, high, claim, worthwhile) == expected


def test_fewer_losses_are_better() -> None:
    """10 to 20 more lost of a hundred is worse, 10 to 20 fewer is better."""
    more = replace(YIELD, outcome="contamination", unit="bags in 100", low=10, high=20, value=15)
    fewer = replace(more, low=-20, high=-10, value=-15)
    assert judge(more, claim="better", worthwhile=5).verdict == "ruled out"
    assert judge(fewer, claim="better", worthwhile=5).verdict == "shown"
    assert judge(more, claim="no worse", worthwhile=5).verdict == "ruled out"
    assert judge(fewer, claim="no worse", worthwhile=5).verdict == "shown"


def test_without_an_estimate_there_is_no_verdict() -> None:
    withheld = replace(YIELD, withheld="one batch a side")
    assert judge(withheld, claim="better", worthwhile=5).verdict == "withheld"
    assert judge(replace(YIELD, value=math.nan), claim="same", worthwhile=5).verdict == "withheld"


@pytest.mark.parametrize("claim", ["no worse", "same"])
def test_a_margin_is_needed(claim) -> None:
    with pytest.raises(ValueError, match="margin"):
        judge(YIELD, claim=claim, worthwhile=None)


numbers = st.floats(-200, 200, allow_nan=False)


@given(one=numbers, two=numbers, worthwhile=st.floats(0.1, 150))
def test_verdicts_agree_with_each_other(one: float, two: float, worthwhile: float) -> None:
    low, high = min(one, two), max(one, two)
    better = verdict(low, high, "better", worthwhile)
    no_worse = verdict(low, high, "no worse", worthwhile)
    same = verdict(low, high, "same", worthwhile)
    if better in ("shown", "shown, size open"):
        assert no_worse == "shown"
    if same == "shown":
        assert no_worse == "shown"
        assert better in ("ruled out",)
    if no_worse == "ruled out":
        assert same == "ruled out"
        assert better == "ruled out"
    mirrored = verdict(-high, -low, "same", worthwhile)
    assert mirrored == same
