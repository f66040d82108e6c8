"""Every layout from the plan to the report, with records that a simulation made.

Nothing here knows the right numbers; the tests of each layout do. Here nothing may break, refuse,
or say what no page may say.
"""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import numpy as np
import pytest

from analyses.rehearsing.truth import hoped
from pinset.cli import main
from pinset.size_options import SizeOptions
from pinset.sizing import size_up
from tests.analyses.few_layouts import few_layouts
from trials.assumptions import Assumptions
from trials.designs import draw
from trials.layout_file import read_layout
from trials.signs.warning_signs import warning_signs
from trials.simulate import draw_trials, places
from trials.trial_file import check_trial, read_trial

_CODES = "KBZM"
_MIXES = (
    "[recipes.bran]\nmoisture_target = 0.62\ningredients = [\n"
    '  { name = "straw", amount = 1, unit = "kg", moisture = 0.1, price_per_kg = 0.5 },\n'
    '  { name = "wheat bran", amount = 3, unit = "cup", grams_per_measure = 50, moisture = 0.1, '
    'price_per_kg = 0.8, supplement = true },\n]\nspawn = { amount = 100, unit = "g" }\n'
)
_BLOCKS = 'layout = "complete blocks"\nblock = "shelf"\nblocks = {}\nunits_per_treatment = {}\n'
_FACTORS = [f'{{ heat = "{heat}", mix = "{mix}" }}'
            for heat in ("long", "short") for mix in ("okara", "bran")]  # fmt: skip
_YIELD = 'outcome = "yield"\nworthwhile = "15 %"'

LAYOUTS: dict[str, tuple[str, int, bool, str]] = {
    "completely random": (
        'layout = "completely random"\nunits_per_treatment = 6', 2, False, _YIELD,
    ),
    "complete blocks": (_BLOCKS.format(6, 2), 2, False, _YIELD),
    "latin square": ('layout = "latin square"\nrow = "shelf"\ncolumn = "day"', 4, False, _YIELD),
    "rows and columns": (
        'layout = "rows and columns"\nrow = "shelf"\nrows = 6\ncolumn = "day"\n'
        "units_per_treatment = 1", 3, False, _YIELD,
    ),
    "split plot": (
        'layout = "split plot"\nblock = "week"\nblocks = 5\nunits_per_treatment = 2\n'
        'batch_factor = "heat"\nbatch_holds = 6', 4, True, _YIELD,
    ),
    "incomplete blocks": (
        'layout = "incomplete blocks"\nblock = "shelf"\nblocks = 6\nplaces = 2', 4, False, _YIELD,
    ),
    "unequal shelves": (
        'layout = "incomplete blocks"\nblock = "shelf"\nblocks = 6\nplaces = [3, 3, 4, 2, 4, 4]',
        4, False, _YIELD,
    ),
    "factorial": (_BLOCKS.format(5, 2), 4, True, _YIELD),
    "extra control units": (_BLOCKS.format(5, 1) + "extra_control_units = 1", 4, False, _YIELD),
    "places on a shelf": (_BLOCKS.format(4, 2) + "places = 10", 3, False, _YIELD),
    "batches": (
        'layout = "completely random"\nunits_per_treatment = 5\napplied_to = "batch"\n'
        "bags_per_batch = 6\nbatch_holds = 6", 2, False,
        'outcome = "contamination"\nclaim = "no worse"\nworthwhile = "20 in 100"',
    ),
    "several growers": (
        _BLOCKS.format(2, 2) + 'growers = ["Ana", "Bo", "Cy", "Di"]', 3, False, _YIELD,
    ),
    "a split plot at growers": (
        'layout = "split plot"\nblock = "week"\nblocks = 2\nunits_per_treatment = 2\n'
        'batch_factor = "heat"\ngrowers = ["Ana", "Bo", "Cy"]', 4, True, _YIELD,
    ),
    "days": (
        _BLOCKS.format(5, 3), 2, False,
        'outcome = "days to colonise"\nclaim = "better"\nworthwhile = "2 days"',
    ),
    "flushes": (_BLOCKS.format(5, 3), 2, False, 'outcome = "flush drop"\nworthwhile = "10 in 100"'),
}  # fmt: skip

CROP = Assumptions(contaminated=0.1)
NEVER = re.compile(r"\bnan\b|\bNone\b(?! of)|\binf\b|Traceback|[Ss]ignifican|\{|\[\]")


def plan_text(name: str) -> str:
    design, count, factors, aim = LAYOUTS[name]
    tables = "".join(
        f'[[treatments]]\ncode = "{code}"\nname = "mix {code.lower()}"\nrecipe = "bran"\n'
        + ("control = true\n" if place == 0 else "")
        + (f"factors = {_FACTORS[place]}\n" if factors else "")
        for place, code in enumerate(_CODES[:count])
    )
    return (
        'format = 1\n[trial]\ntitle = "Every layout"\nspecies = "king oyster"\nflushes = 2\n'
        f"start = 2026-03-02\nblind = true\ninvented = true\n{tables}[design]\n{design}\nseed = 7\n"
        f"[aim]\n{aim}\n{_MIXES}"
    )


def fill_in(folder: Path) -> None:
    """Write one simulated trial as a grower would have."""
    trial = read_trial(folder)
    layout = read_layout(folder, trial)
    world = hoped(trial, CROP)
    drawn = draw_trials(
        places(trial, layout), world.truth, CROP, flushes=trial.flushes, trials=1,
        generator=np.random.default_rng(9), looks=np.arange(2.0, 300, 2),
    )  # fmt: skip
    (folder / "records.xlsx").unlink()
    with (folder / "bags.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["code", "block", "batch", "fate", "colonised", "flush 1", "flush 2"])
        for place, slot in enumerate(layout.slots):
            weights = ["" if np.isnan(one) else round(one) for one in drawn.grams[place, :, 0]]
            fate = "contaminated" if drawn.lost[place, 0] else "finished"
            day = np.nan if drawn.days is None else drawn.days.seen[place, 0]
            date = "" if np.isnan(day) else str(np.datetime64("2026-03-02") + int(day))
            writer.writerow([slot.code, slot.block, slot.batch, fate, date, *weights])


def _said(capsys: pytest.CaptureFixture[str]) -> str:
    told = capsys.readouterr()
    assert not NEVER.search(told.out), NEVER.search(told.out)
    return " ".join(told.out.split())


def _to_records(name: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "trial.toml").write_text(plan_text(name), encoding="utf-8")
    assert main(["size", str(folder), "--trials", "20"]) == 0
    assert "four times out of five" in _said(capsys)
    assert main(["layout", str(folder)]) == 0
    assert "Layout: " in _said(capsys)
    assert main(["rehearse", str(folder), "--trials", "20"]) == 0
    assert "Rehearsed 20 times" in _said(capsys)
    fill_in(folder)
    assert main(["check", str(folder)]) == 0
    _said(capsys)


@pytest.mark.parametrize("name", ["complete blocks", "latin square", "several growers"])
def test_plan_size_layout_rehearsal_records_analysis(
    name: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    few_layouts(monkeypatch)
    _to_records(name, tmp_path, capsys)
    assert main(["analyse", str(tmp_path)]) == 0
    _said(capsys)


@pytest.mark.slow
@pytest.mark.parametrize("name", LAYOUTS)
def test_from_the_plan_to_the_report(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _to_records(name, tmp_path, capsys)
    assert main(["report", str(tmp_path)]) == 0
    _said(capsys)
    page = (tmp_path / "report" / "report.md").read_text(encoding="utf-8")
    assert not NEVER.search(page), NEVER.search(page)
    told = json.loads((tmp_path / "report" / "results.json").read_text(encoding="utf-8"))
    aim = LAYOUTS[name][3].split('"')[1]
    planned = [one for one in told["findings"] if one["outcome"] == aim and one["planned"]]
    assert len(planned) == LAYOUTS[name][1] - 1
    assert any(one["verdict"] != "withheld" for one in planned) or aim == "contamination"
    assert bool(told["factors"]) == (LAYOUTS[name][2] and aim == "yield")
    sheets = {one.stem for one in (tmp_path / "print").iterdir()}
    for sheet in ("labels", "mixing-sheet", "calendar", "map", "record-sheet"):
        assert any(sheet in one for one in sheets), sheet


@pytest.mark.parametrize(
    "name", [name for name, (*_, aim) in LAYOUTS.items() if aim == _YIELD and "growers" not in name]
)
def test_the_warning_of_a_plan_says_what_its_size_says(name: str) -> None:
    """Both are about the usual bags, and about each comparison as the analysis will make it."""
    trial = check_trial(plan_text(name))
    (what,) = [one.what for one in warning_signs(trial, draw(trial)) if one.name == "out of reach"]
    seen, chance = re.findall(r"difference of (\d+) %.* that (\d+) times in 100", what)[0]
    sizing = size_up(SizeOptions(), trial)
    rows = [row.answer for row in sizing.rows]
    told = [(f"{100 * one.reach:.0f}", f"{100 * one.power_now:.0f}") for one in rows if one.reach]
    assert (seen, chance) in told
    if trial.design.layout != "split plot":
        assert (seen, chance) == told[sizing.main]
