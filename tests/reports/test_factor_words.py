"""What factors do, read back from the words."""

from __future__ import annotations

import random

import pytest

from analyses.layouts.factorial import FactorEffect
from reports.parts.factors import factor_table
from reports.wording.factor_words import factor_lines
from tests.reports.reader import NEVER, read
from trials.trial import Trial
from trials.trial_file import check_trial

_CELLS = (("L1", "bran", "few", True), ("L2", "bran", "many", False), ("O1", "okara", "few", False),
          ("O2", "okara", "many", False))  # fmt: skip


def two_factors(weights: str = "g") -> Trial:
    return check_trial(
        f'format = 1\n[trial]\ntitle = "Mix and spawn"\nflushes = 1\nweights = "{weights}"\n'
        + "".join(
            f'[[treatments]]\ncode = "{code}"\nname = "{mix}, {spawn} spawn"\n'
            f'factors = {{ mix = "{mix}", "spawn rate" = "{spawn}" }}\n'
            + ("control = true\n" if control else "")
            for code, mix, spawn, control in _CELLS
        )
        + '[design]\nlayout = "completely random"\nunits_per_treatment = 6\nseed = 1\n'
        '[aim]\noutcome = "yield"\n'
    )


def effect(low: float, high: float, **others: object) -> FactorEffect:
    given = {"factors": ("mix",), "levels": ("okara",), "against": ("bran",)} | others
    return FactorEffect(
        value=(low + high) / 2, low=low, high=high, confidence=0.95, p=0.5, df=20, unit="g",
        unit_counted="bag", units=24, **given,
    )  # fmt: skip


def effects(few: tuple[float, float], many: tuple[float, float]) -> tuple[FactorEffect, ...]:
    """The gain of okara with few and with many spawn, and what follows for the rest."""
    mean = effect((few[0] + many[0]) / 2, (few[1] + many[1]) / 2)
    both = effect(
        many[0] - few[1], many[1] - few[0], factors=("mix", "spawn rate"),
        levels=("okara", "many"), against=("bran", "few"),
    )  # fmt: skip
    return (
        mean, both, effect(*few, at=("spawn rate", "few")),
        effect(*many, at=("spawn rate", "many")),
    )  # fmt: skip


def test_better_with_either() -> None:
    lines = factor_lines(effects((20, 60), (30, 70)), two_factors())
    assert lines == (
        "Mix, averaged over spawn rate: okara gave about 45 g more per bag than bran; between "
        "25 g and 65 g more fits; this rests on 24 bags.",
        "Okara did better than bran with either spawn rate (between 20 g and 60 g more with few, "
        "between 30 g and 70 g more with many). Whether that changes with spawn rate is open: "
        "anything from 30 g less to 50 g more with spawn rate many than with spawn rate few fits "
        "these bags.",
    )


@pytest.mark.parametrize(
    ("few", "many", "told", "change"),
    [
        ((-60, -20), (-50, -10), "Okara did worse than bran with either spawn rate", "is open"),
        ((20, 60), (-20, 20), "With spawn rate many it cannot be told (anything from", "is open"),
        ((-20, 20), (90, 120), "With spawn rate few this trial cannot tell okara from bran",
         "That changes with spawn rate: between 70 g and 140 g more"),
        ((30, 60), (-60, -30), "With spawn rate many it did worse (between 30 g and 60 g less)",
         "That changes with spawn rate: between 60 g and 120 g less"),
    ],
)  # fmt: skip
def test_what_depends_on_what(few: tuple, many: tuple, told: str, change: str) -> None:
    line = factor_lines(effects(few, many), two_factors())[1]
    assert told in line
    assert change in line


@pytest.mark.parametrize("weights", ["g", "oz", "kg"])
def test_no_line_says_more_than_its_range(weights: str) -> None:
    rng, trial = random.Random(4), two_factors(weights)
    per = {"g": 1.0, "oz": 28.349523125, "kg": 1000.0}[weights]
    for _ in range(300):
        middle, half = rng.gauss(0, 60), abs(rng.gauss(0, 40)) + 2
        one = effect(middle - half, middle + half)
        (line,) = factor_lines((one,), trial)
        assert not NEVER.search(line)
        said = read(line)
        step = max(0.06 * half, 3.6 if weights == "oz" else 0)
        assert said.low * per == pytest.approx(one.low, abs=step), line
        assert said.high * per == pytest.approx(one.high, abs=step), line
        assert said.low * one.low >= 0, line
        assert said.high * one.high >= 0, line
        assert ("gave about" in line) == (one.low > 0 or one.high < 0)


def test_the_table_has_a_row_for_each() -> None:
    table = factor_table(effects((20, 60), (30, 70)), two_factors())
    assert [row[0] for row in table.rows] == [
        "Mix: okara less bran, averaged over spawn rate",
        "(okara less bran) with many, less the same with few",
        "Mix: okara less bran, with spawn rate few",
        "Mix: okara less bran, with spawn rate many",
    ]
    assert table.rows[0][1:] == ("45", "25 to 65", "24 bags")
