"""Read 200 growers of 100 bags together: python -m tests.benchmarks.bench_together."""

from __future__ import annotations

import argparse
import csv
import io
import statistics
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.trials.folders import make_folder
from trials.room import Room
from trials.together import read_together
from trials.trial_file import check_trial

PLAN = """
format = 1
[trial]
title = "A large group"
question = "Does mix B give more?"
species = "pearl oyster"
flushes = 3
[[treatments]]
code = "A"
name = "mix A"
control = true
[[treatments]]
code = "B"
name = "mix B"
[design]
layout = "complete blocks"
block = "shelf"
blocks = 10
units_per_treatment = 5
seed = 1
[aim]
outcome = "yield"
worthwhile = "10 %"
"""


def make_group(top: Path, growers: int, *, long: bool = False) -> None:
    """Write the folders of a large invented group, with bags.csv and, if asked, harvests.csv."""
    rng = np.random.default_rng(20260501)
    trial = check_trial(PLAN)
    for number in range(growers):
        design = replace(trial.design, seed=1000 + number)
        room = Room(temperature_c=float(rng.integers(12, 24)))
        folder = top / f"grower-{number:03d}"
        layout = make_folder(folder, replace(trial, design=design, room=room))
        level = 400 * np.exp(rng.normal(0, 0.2))
        bags, pickings = [], []
        for slot in layout.slots:
            if rng.random() < 0.06:
                bags.append([slot.code, "contaminated", "2026-02-12"])
                continue
            bag = level * np.exp(rng.normal(0, 0.15)) * (1.1 if slot.treatment == "B" else 1)
            grams = [round(bag * share) for share in (0.6, 0.25, 0.15)]
            bags.append([slot.code, "finished", "", *([] if long else grams)])
            pickings += [
                [slot.code, f"2026-0{month}-11", weight, flush]
                for flush, (month, weight) in enumerate(zip((3, 4, 5), grams, strict=True), 1)
            ]
        heads = ["code", "fate", "lost on"]
        if not long:
            heads += [f"flush {flush} (g)" for flush in (1, 2, 3)]
        _write(folder / "bags.csv", heads, bags)
        if long:
            _write(folder / "harvests.csv", ["code", "date", "weight (g)", "flush"], pickings)


def _write(path: Path, heads: list[str], rows: list[list[object]]) -> None:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(heads)
    writer.writerows(rows)
    path.write_text(text.getvalue(), encoding="utf-8")


def main() -> None:
    """Print the medians."""
    words = argparse.ArgumentParser()
    words.add_argument("--growers", type=int, default=200)
    words.add_argument("--times", type=int, default=3)
    asked = words.parse_args()
    for long in (False, True):
        with tempfile.TemporaryDirectory() as name:
            make_group(Path(name), asked.growers, long=long)
            seconds = []
            for _ in range(asked.times):
                started = time.process_time()  # of this process: others may be at work
                together = read_together([name])
                seconds.append(time.process_time() - started)
            bags = sum(len(one.records.bags) for one in together.growers)
            form = "bags.csv and harvests.csv" if long else "bags.csv"
            print(f"{len(together.growers)} growers, {bags} bags, {form}: "
                  f"{statistics.median(seconds):.2f} s")  # fmt: skip


if __name__ == "__main__":
    main()
