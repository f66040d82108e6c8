"""Trial folders of any size, made up: a bag list and a list of pickings.

The farm grows one batch of shelves a week and keeps one trial going for years: every week is a
block, four mixes stand in it, and each flush is picked on one or two days.
"""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from trials.designs import draw
from trials.layout import Layout
from trials.lock import make_lock
from trials.trial import Trial
from trials.trial_file import check_trial

__all__ = ["PICKED_AGAIN", "make_folder"]

PLAN = """\
format = 1
[trial]
title = "Ten years of weekly bags (made up)"
question = "Does any of three mixes give more than straw?"
unit = "bag"
flushes = {flushes}
invented = true
{treatments}
[design]
layout = "complete blocks"
block = "week"
blocks = {blocks}
units_per_treatment = {units}
seed = 1
[aim]
outcome = "yield"
worthwhile = "5 %"
"""
TREATMENT = '[[treatments]]\ncode = "{code}"\nname = "mix {code}"\n'
PICKED_AGAIN = 0.17
"""Share of the flushes that are picked on two days: makes 1,000,000 pickings of 300,000 bags."""

LOST = 0.05


def make_folder(folder: Path, *, blocks: int, units: int, flushes: int = 3, seed: int = 1) -> None:
    """Write plan, layout, lock, bags and pickings.

    Parameters
    ----------
    folder : pathlib.Path
    blocks : int
        Weeks.
    units : int
        Bags of each of four mixes in a week.
    flushes : int
    seed : int
    """
    tables = "".join(TREATMENT.format(code=code) for code in "ABCD")
    tables = tables.replace('"mix A"\n', '"mix A"\ncontrol = true\n')
    text = PLAN.format(flushes=flushes, treatments=tables, blocks=blocks, units=units)
    trial = check_trial(text)
    layout = draw(trial)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "trial.toml").write_text(text, encoding="utf-8")
    (folder / "layout.csv").write_text(layout.to_csv(), encoding="utf-8")
    drawn = dt.datetime(2016, 1, 2, tzinfo=dt.UTC)
    lock = make_lock(trial, layout, drawn=drawn, version="0")
    (folder / "plan.lock").write_text(lock.to_json(), encoding="utf-8")
    _write_records(folder, trial, layout, np.random.default_rng(seed))


def _write_records(folder: Path, trial: Trial, layout: Layout, rng: np.random.Generator) -> None:
    count, flushes = len(layout.slots), trial.flushes
    week = np.unique([slot.block for slot in layout.slots], return_inverse=True)[1]
    mix = np.unique([slot.treatment for slot in layout.slots], return_inverse=True)[1]
    lost = rng.random(count) < LOST
    level = rng.normal(1, 0.1, week.max() + 1)[week] * rng.normal(1, 0.15, count)
    grams = 230 * (1 + 0.02 * mix[:, None]) * 0.54 ** np.arange(flushes) * level[:, None]
    grams = np.maximum(grams * rng.normal(1, 0.15, (count, flushes)), 1).round()
    again = rng.random((count, flushes)) < PICKED_AGAIN
    first = rng.random((count, flushes)) * 0.8 + 0.1
    early = np.where(again, (grams * first).round(), grams)
    start = dt.date(2016, 1, 4)
    spawned = [start + dt.timedelta(days=7 * int(one)) for one in week]
    delay = rng.integers(0, 3, (count, flushes))
    codes = layout.codes
    _write(
        folder / "bags.csv",
        ("code", "fate", "lost on", "seen", "spawned"),
        (
            (
                code, "contaminated" if gone else "finished",
                day + dt.timedelta(days=12) if gone else "", "green patch" if gone else "", day,
            )
            for code, gone, day in zip(codes, lost, spawned, strict=True)
        ),
    )  # fmt: skip

    def pickings() -> Iterable[Sequence[object]]:
        for place in np.flatnonzero(~lost):
            for flush in range(flushes):
                day = spawned[place] + dt.timedelta(days=24 + 11 * flush + int(delay[place, flush]))
                one = early[place, flush]
                yield codes[place], day, f"{one:g}", flush + 1
                if again[place, flush]:
                    rest = grams[place, flush] - one
                    yield codes[place], day + dt.timedelta(days=2), f"{rest:g}", flush + 1

    _write(folder / "harvests.csv", ("code", "date", "weight (g)", "flush"), pickings())


def _write(path: Path, heads: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(heads)
        writer.writerows(rows)
