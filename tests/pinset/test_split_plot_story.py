"""A trial of two heat treatments and two mixes, from the plan to the report, as a grower does it.

The records are invented here from known effects: mix adds 60 g, heat adds nothing, batches of one
week differ by more than the bags in them.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from pinset.cli import main
from trials.layout_file import read_layout
from trials.trial_file import read_trial

PLAN = """
format = 1
[trial]
title = "Short or long steam, bran or okara"
flushes = 1
blind = true
invented = true
start = 2026-03-02
[[treatments]]
code = "LB"
name = "long steam, bran"
control = true
recipe = "bran"
factors = { steam = "long", mix = "bran" }
[[treatments]]
code = "LO"
name = "long steam, okara"
recipe = "okara"
factors = { steam = "long", mix = "okara" }
[[treatments]]
code = "SB"
name = "short steam, bran"
recipe = "bran"
factors = { steam = "short", mix = "bran" }
[[treatments]]
code = "SO"
name = "short steam, okara"
recipe = "okara"
factors = { steam = "short", mix = "okara" }
[design]
layout = "split plot"
block = "week"
blocks = 8
units_per_treatment = 3
batch_factor = "steam"
batch_holds = 6
seed = 5
[aim]
outcome = "yield"
worthwhile = "10 %"
[recipes.bran]
moisture_target = 0.62
ingredients = [{ name = "wheat bran", amount = 2, unit = "cup", grams_per_measure = 50 }]
[recipes.okara]
moisture_target = 0.62
ingredients = [{ name = "okara", amount = 100, unit = "g" }]
"""

MIX_EFFECT = 60.0


def fill_in(folder: Path) -> None:
    """Write what a grower would have weighed."""
    trial = read_trial(folder)
    rng = np.random.default_rng(12)
    layout = read_layout(folder, trial)
    weeks = {block: rng.normal(0, 25) for block in layout.blocks}
    batches = {slot.batch: rng.normal(0, 40) for slot in layout.slots}
    (folder / "records.xlsx").unlink()
    with (folder / "bags.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["code", "block", "batch", "fate", "flush 1"])
        for slot in layout.slots:
            mix = MIX_EFFECT * (trial.treatment(slot.treatment).level("mix") == "okara")
            grams = 400 + mix + weeks[slot.block] + batches[slot.batch] + rng.normal(0, 30)
            writer.writerow([slot.code, slot.block, slot.batch, "finished", round(grams)])


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("split")
    (folder / "trial.toml").write_text(PLAN, encoding="utf-8")
    assert main(["layout", str(folder)]) == 0
    fill_in(folder)
    assert main(["check", str(folder)]) == 0
    assert main(["report", str(folder)]) == 0
    return folder


def test_the_sheets_know_batches_and_mixes(told: Path) -> None:
    sheet = (told / "print" / "mixing-sheet.html").read_text(encoding="utf-8")
    assert "48 bags in 16 loads of up to 3" in sheet
    assert "week 1, batch 1" in sheet
    assert (told / "print" / "calendar.html").is_file()


def test_what_was_put_in_comes_out(told: Path) -> None:
    """The mix is told within batches on many df, the steam between them on (8 - 1)(2 - 1) = 7."""
    results = json.loads((told / "report" / "results.json").read_text(encoding="utf-8"))
    effects = {
        tuple(one["factors"]): SimpleNamespace(**one) for one in results["factors"] if not one["at"]
    }
    mix, steam = effects[("mix",)], effects[("steam",)]
    assert mix.low < MIX_EFFECT < mix.high
    assert steam.low < 0 < steam.high
    assert steam.df == pytest.approx(7, abs=0.01)
    assert mix.df > 70
    assert (steam.unit_counted, mix.unit_counted) == ("batch", "bag")
    assert steam.high - steam.low > 2 * (mix.high - mix.low)
    assert mix.p_rerandomised is not None
    assert mix.p_rerandomised < 0.001
    assert steam.p_rerandomised is not None
    assert steam.p_rerandomised > 0.05
    assert abs(steam.p_rerandomised - steam.p) < 0.1


def test_the_report_is_made_and_counts_batches(told: Path) -> None:
    results = json.loads((told / "report" / "results.json").read_text(encoding="utf-8"))
    found = {
        one["treatment"]: one
        for one in results["findings"]
        if one["outcome"] == "yield" and one["estimand"] == "per bag started"
    }
    assert found["LO"]["unit_counted"] == "bag"
    assert found["SB"]["unit_counted"] == "batch"
    assert found["SB"]["units"] == 16
    wide = found["SB"]["high"] - found["SB"]["low"]
    assert wide > 1.5 * (found["LO"]["high"] - found["LO"]["low"])
    assert "factor by factor" in (told / "report" / "report.html").read_text(encoding="utf-8")


def test_each_factor_is_told_in_words_and_in_numbers(told: Path) -> None:
    results = json.loads((told / "report" / "results.json").read_text(encoding="utf-8"))
    page = (told / "report" / "report.md").read_text(encoding="utf-8")
    assert "Each treatment combines steam and mix" in page
    assert "this rests on 16 batches" in page
    assert "this rests on 96 bags" in page
    assert "Okara did better than bran with either steam (between" in page
    assert "Whether that changes with steam is open: anything from" in page
    effects = {
        (tuple(one["factors"]), tuple(one["at"])): one for one in results["factors"]
    }  # fmt: skip
    mix, both = effects[("mix",), ()], effects[("steam", "mix"), ()]
    assert f"| Mix: okara less bran, averaged over steam | {mix['value']:.0f} |" in page
    assert f"between {mix['low']:.0f} g and {mix['high']:.0f} g more fits" in page
    long, short = (effects[("mix",), ("steam", level)] for level in ("long", "short"))
    assert both["value"] == pytest.approx(short["value"] - long["value"])
    assert mix["value"] == pytest.approx((short["value"] + long["value"]) / 2)
