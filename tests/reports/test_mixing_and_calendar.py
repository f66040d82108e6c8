"""The mixing sheet and the calendar: whole, escaped, with their cautions."""

from __future__ import annotations

import re

import pytest

from reports.sheets.calendar_sheet import calendar_sheet
from reports.sheets.mixing_sheet import mixing_sheet
from tests.trials.plans import OKARA, plan
from tests.trials.test_recipes import MIXES
from trials.designs import draw
from trials.starters import starter
from trials.trial_file import check_trial


def test_every_label_stands_with_its_mix_once() -> None:
    trial = check_trial(OKARA + MIXES)
    layout = draw(trial)
    html = mixing_sheet(trial, layout)
    bran, okara = re.split(r'<section class="mix"', html)[1:]
    for slot in layout.slots:
        mine, other = (bran, okara) if slot.treatment == "B" else (okara, bran)
        assert f">{slot.code}<" in mine
        assert f">{slot.code}<" not in other
    assert "3.3 cups" not in bran
    assert "6.6 cups (330\N{NO-BREAK SPACE}g)" in bran
    assert "52.8 cups (2.64\N{NO-BREAK SPACE}kg)" in bran
    assert "16 bags in 8 loads of up to 2" in bran
    assert "Besides the thing tested" in html
    assert "Keep it from whoever weighs" in html


@pytest.mark.parametrize("word", ["scald", "pressure", "carbon monoxide", "lime", "back"])
def test_the_mixing_sheet_warns(word: str) -> None:
    html = mixing_sheet(plan(), draw(plan())).lower()
    assert word in html
    assert html.count("ask a qualified person") == 5


def test_the_calendar_warns_and_has_dates() -> None:
    html = calendar_sheet(check_trial(OKARA))
    for words in ("2026-03-02", "2026-03-16 to 2026-03-30", "scald", "Mould", "Spores"):
        assert words in html
    undated = calendar_sheet(plan())
    assert "date, likely" not in undated
    assert "14 to 28" in undated


def test_what_the_grower_wrote_is_escaped() -> None:
    spoiled = MIXES.replace('"okara", amount', '"<script>alert(1)</script>", amount')
    trial = check_trial(OKARA + spoiled)
    html = mixing_sheet(trial, draw(trial))
    assert "<script" not in html
    assert "&lt;script&gt;" in html


def test_batches_stand_in_the_order_in_which_they_are_made() -> None:
    trial = check_trial(
        starter("contamination", folder="x", seed=11).replace(
            "units_per_treatment = 6", "units_per_treatment = 12"
        )
    )
    sheet = mixing_sheet(trial, draw(trial))
    for part in sheet.split("Labels that go on")[1:]:
        numbers = [int(one) for one in re.findall(r"batch (\d+):", part)]
        assert len(numbers) == 12
        assert numbers == sorted(numbers)
