"""Invent the demo trial “shortcut”: run from the top of the checkout, writes data/demos/shortcut.

Everything is made up: the grower, the shed, the numbers. Seeded, so that it can be made again.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import numpy as np
from trial_folder import (
    column_of,
    demo_folder,
    draw_and_lock,
    filled_book,
    finished_rows,
    write_plan,
)

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

    from trials.layout import Layout

PLAN = """\
# An invented trial. The grower, the shed and every number are made up.

format = 1

[trial]
title = "Two hours in the steamer instead of four"
question = "Does a shorter steaming lose more bags to mould?"
species = "pearl oyster"
strain = "an invented strain, PO-3"
place = "an invented shed with one steam drum"
grower = "Tamsin Oakapple (invented)"
unit = "bag"
start = 2026-01-12
flushes = 2
blind = true              # labels hide the steaming time
weights = "g"
invented = true

[[treatments]]
code = "L"
name = "four hours of steam"
control = true
note = "what Tamsin has always done"

[[treatments]]
code = "S"
name = "two hours of steam"
note = "saves gas and half an evening"

[design]
layout = "completely random"
units_per_treatment = 6   # drums of each steaming time
applied_to = "batch"      # one drum is one batch: all its bags are steamed together
bags_per_batch = 12
seed = 2611

[aim]
outcome = "contamination"
claim = "no worse"
worthwhile = "8 in 100"   # so many more lost would cost more than the gas
confidence = 0.95

[costs]
price_per_kg = 10.5
cost_per_bag = 1.9
currency = "EUR"
"""

# Bags lost of the twelve in each drum, drum after drum: one bad drum tells most of the story.
LOST = {"L": (0, 1, 0, 0, 1, 0), "S": (1, 0, 11, 0, 4, 2)}
MEAN_G, BATCH_SD, BAG_SD, FLUSH_SD = 520.0, 0.05, 0.14, 0.10
SHARES = (0.68, 0.32)
FIRST_DAY = dt.date(2026, 1, 12)


def main() -> None:
    """Write the trial folder."""
    folder = demo_folder("shortcut")
    drawn = dt.datetime(2026, 1, 9, 20, 5, tzinfo=dt.timezone(dt.timedelta(hours=1)))
    trial, layout, lock = draw_and_lock(PLAN, drawn)
    rng = np.random.default_rng(20260112)
    drums = list(dict.fromkeys(slot.batch for slot in layout.slots))
    drums.sort(key=lambda name: int(name.rsplit(" ", 1)[-1]))
    luck = {drum: np.exp(rng.normal(0, BATCH_SD)) for drum in drums}
    lost = choose_lost(rng, layout, drums)
    bags = []
    for slot in layout.slots:
        # Two drums a week: the spawn goes in on the day after.
        spawned = FIRST_DAY + dt.timedelta(days=7 * (drums.index(slot.batch) // 2))
        mean = MEAN_G * luck[slot.batch]
        bags.append(invent_bag(rng, mean, spawned, lost=slot.code in lost))
    book = filled_book(trial, layout, bags)
    make_untidy(book["bags"])
    book.save(folder / "records.xlsx")
    write_plan(folder, PLAN, layout, lock)


def choose_lost(rng: np.random.Generator, layout: Layout, drums: list[str]) -> set[str]:
    """Choose which bags of each drum are lost."""
    told = {code: iter(counts) for code, counts in LOST.items()}
    lost: set[str] = set()
    for drum in drums:
        slots = [slot for slot in layout.slots if slot.batch == drum]
        codes = [slot.code for slot in slots]
        lost |= set(rng.choice(codes, next(told[slots[0].treatment]), replace=False))
    return lost


def invent_bag(
    rng: np.random.Generator, mean: float, spawned: dt.date, *, lost: bool
) -> dict[str, Any]:
    """Invent what is written down for one bag."""
    entries: dict[str, Any] = {"spawned": spawned}
    colonised = spawned + dt.timedelta(days=int(rng.integers(15, 21)))
    opened = spawned + dt.timedelta(days=22)
    late = lost and rng.random() < 0.25
    if lost and not late:
        day = spawned + dt.timedelta(days=int(rng.integers(7, 17)))
        seen = str(rng.choice(["green patch", "green patch", "green patch", "wet and sour"]))
        return entries | {"fate": "contaminated", "lost on": day, "seen": seen}
    entries |= {"colonised": colonised, "opened": opened}
    if late:
        day = opened + dt.timedelta(days=int(rng.integers(1, 5)))
        seen = "orange dust by the cut"
        return entries | {"fate": "contaminated", "lost on": day, "seen": seen}
    pins = opened + dt.timedelta(days=int(rng.integers(4, 9)))
    entries |= {"fate": "finished", "first pins": pins}
    bag, day = mean * np.exp(rng.normal(0, BAG_SD)), pins + dt.timedelta(days=5)
    for flush, share in enumerate(SHARES, start=1):
        grams = bag * share * np.exp(rng.normal(0, FLUSH_SD))
        entries[f"flush {flush} (g)"] = round(float(grams))
        entries[f"flush {flush} date"] = day
        day += dt.timedelta(days=int(rng.integers(10, 15)))
    return entries


def make_untidy(sheet: Worksheet) -> None:
    """Add what happens in a busy shed: a torn bag, and one lost between the flushes."""

    def column(heading: str) -> int:
        return column_of(sheet, heading)

    finished = finished_rows(sheet)
    torn, dropped = finished[11], finished[60]
    for row, seen, note in (
        (torn, "torn", "a mouse got at it after the first picking"),
        (dropped, "torn", "fell off the trolley"),
    ):
        for heading in ("flush 2 (g)", "flush 2 date"):
            sheet.cell(row=row, column=column(heading)).value = None
        picked = sheet.cell(row=row, column=column("flush 1 date")).value
        sheet.cell(row=row, column=column("fate"), value="lost otherwise")
        sheet.cell(row=row, column=column("lost on"), value=picked + dt.timedelta(days=3))
        sheet.cell(row=row, column=column("seen"), value=seen)
        sheet.cell(row=row, column=column("note"), value=note)


if __name__ == "__main__":
    main()
