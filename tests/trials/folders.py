"""Trial folders made and filled for tests."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Callable
from pathlib import Path

from trials.designs import draw
from trials.layout import Layout, Slot
from trials.lock import make_lock
from trials.reading.record_book import make_record_book
from trials.trial import Trial
from trials.trial_text import to_toml

DRAWN = dt.datetime(2026, 2, 27, 18, 0, tzinfo=dt.UTC)


def make_folder(folder: Path, trial: Trial, *, book: bool = False) -> Layout:
    """Write plan, layout and lock, as the command does."""
    folder.mkdir(parents=True, exist_ok=True)
    layout = draw(trial)
    (folder / "trial.toml").write_text(to_toml(trial), encoding="utf-8")
    (folder / "layout.csv").write_text(layout.to_csv(), encoding="utf-8")
    lock = make_lock(trial, layout, drawn=DRAWN, version="0")
    (folder / "plan.lock").write_text(lock.to_json(), encoding="utf-8")
    if book:
        (folder / "records.xlsx").write_bytes(make_record_book(trial, layout))
    return layout


def write_bags(
    folder: Path,
    layout: Layout,
    headings: list[str],
    row: Callable[[int, Slot], list[object]],
    *,
    name: str = "bags.csv",
    separator: str = ",",
    encoding: str = "utf-8",
) -> None:
    """Write a table with one row a unit."""
    with (folder / name).open("w", newline="", encoding=encoding) as file:
        writer = csv.writer(file, delimiter=separator)
        writer.writerow(headings)
        for number, slot in enumerate(layout.slots):
            writer.writerow(row(number, slot))
