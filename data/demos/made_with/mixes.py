"""Invent the demo trial “mixes”: run from the top of the checkout, writes data/demos/mixes.

Everything is made up: the grower, the cellar, the numbers. Seeded, so that it can be made again.
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

PLAN = """\
# An invented trial. The grower, the cellar and every number are made up.

format = 1

[trial]
title = "Brewery grain or wheat bran for grey oyster"
question = "Does spent brewery grain give more mushrooms per bag than wheat bran?"
species = "grey oyster"
strain = "GO-7 (invented)"
place = "a cellar room with eight shelves (invented)"
grower = "Ilvy Marrowgate (invented)"
unit = "bag"
start = 2026-03-02
flushes = 3
blind = true              # labels hide the mix
weights = "g"
invented = true

[[treatments]]
code = "W"
name = "10 % wheat bran"
control = true
recipe = "bran"
note = "what Ilvy has used so far"

[[treatments]]
code = "G"
name = "10 % brewery grain"
recipe = "grain"
note = "free from the brewery next door, but wet and heavy to carry"

[design]
layout = "complete blocks"
block = "shelf"
blocks = 8
units_per_treatment = 3   # bags of each mix on each shelf
applied_to = "bag"
seed = 417

[aim]
outcome = "yield"
claim = "better"
worthwhile = "10 %"       # carrying the grain is worth that much
confidence = 0.95

[costs]
price_per_kg = 11.0
cost_per_bag = 2.1
shelf_days_to_first = 28
shelf_days_per_flush = 11
currency = "EUR"

[recipes.bran]
moisture_target = 0.64
ingredients = [
    { name = "beech sawdust", amount = 700, unit = "g", moisture = 0.10 },
    { name = "wheat bran", amount = 80, unit = "g", moisture = 0.12 },
]
spawn = { name = "grain spawn", amount = 110, unit = "g", moisture = 0.45 }

[recipes.grain]
moisture_target = 0.64
ingredients = [
    { name = "beech sawdust", amount = 700, unit = "g", moisture = 0.10 },
    { name = "brewery grain", amount = 300, unit = "g", moisture = 0.76 },
]
spawn = { name = "grain spawn", amount = 110, unit = "g", moisture = 0.45 }
"""

CONTROL_G = 415.0
GAIN = 1.30
SHELF_SD, BAG_SD, FLUSH_SD = 0.06, 0.13, 0.10
SHARES = (0.60, 0.27, 0.13)
LOST = 2  # contaminated bags of each mix
SPAWNED = dt.date(2026, 3, 2)


def main() -> None:
    """Write the trial folder."""
    folder = demo_folder("mixes")
    drawn = dt.datetime(2026, 2, 27, 18, 20, tzinfo=dt.timezone(dt.timedelta(hours=1)))
    trial, layout, lock = draw_and_lock(PLAN, drawn)
    rng = np.random.default_rng(20260302)
    shelves = {block: np.exp(rng.normal(0, SHELF_SD)) for block in layout.blocks}
    codes = {
        mix: [slot.code for slot in layout.slots if slot.treatment == mix] for mix in ("W", "G")
    }
    lost = {code for mix in codes.values() for code in rng.choice(mix, LOST, replace=False)}
    bags = []
    for slot in layout.slots:
        mean = CONTROL_G * (GAIN if slot.treatment == "G" else 1.0) * shelves[slot.block]
        bags.append(invent_bag(rng, mean, lost=slot.code in lost))
    book = filled_book(trial, layout, bags)
    make_untidy(book["bags"])
    book.save(folder / "records.xlsx")
    write_plan(folder, PLAN, layout, lock)


def invent_bag(rng: np.random.Generator, mean: float, *, lost: bool) -> dict[str, Any]:
    """Invent what is written down for one bag."""
    colonised = SPAWNED + dt.timedelta(days=int(rng.integers(16, 22)))
    entries: dict[str, Any] = {"spawned": SPAWNED, "dry weight (g)": int(rng.normal(705, 6))}
    if lost:
        day = SPAWNED + dt.timedelta(days=int(rng.integers(8, 18)))
        seen = str(rng.choice(["green patch", "green patch", "black patch", "wet and sour"]))
        return entries | {"fate": "contaminated", "lost on": day, "seen": seen}
    opened = SPAWNED + dt.timedelta(days=24)
    pins = opened + dt.timedelta(days=int(rng.integers(4, 9)))
    entries |= {"fate": "finished", "colonised": colonised, "opened": opened, "first pins": pins}
    bag, day = mean * np.exp(rng.normal(0, BAG_SD)), pins + dt.timedelta(days=5)
    for flush, share in enumerate(SHARES, start=1):
        grams = bag * share * np.exp(rng.normal(0, FLUSH_SD))
        came = flush == 1 or rng.random() > 0.04 * flush
        entries[f"flush {flush} (g)"] = round(float(grams)) if came else 0
        entries[f"flush {flush} date"] = day
        day += dt.timedelta(days=int(rng.integers(9, 14)))
    return entries


def make_untidy(sheet: Worksheet) -> None:
    """Add what happens in a busy room: nothing that a careful reader could not sort out."""

    def column(heading: str) -> int:
        return column_of(sheet, heading)

    finished = finished_rows(sheet)
    torn, blank, no_fate, comma, pounds = (finished[place] for place in (6, 15, 22, 30, 37))
    for heading in ("flush 2 (g)", "flush 2 date", "flush 3 (g)", "flush 3 date"):
        sheet.cell(row=torn, column=column(heading)).value = None
    sheet.cell(row=torn, column=column("fate"), value="lost otherwise")
    sheet.cell(row=torn, column=column("lost on"), value=dt.date(2026, 4, 9))
    sheet.cell(row=torn, column=column("seen"), value="torn")
    sheet.cell(row=torn, column=column("note"), value="fell off the shelf when I turned it")
    sheet.cell(row=blank, column=column("flush 3 (g)")).value = None
    sheet.cell(row=blank, column=column("flush 3 date")).value = None
    sheet.cell(row=blank, column=column("note"), value="picked it, forgot to weigh")
    sheet.cell(row=no_fate, column=column("fate")).value = None
    grams = sheet.cell(row=comma, column=column("flush 1 (g)")).value
    text = f"{grams / 1000:.3f}".replace(".", ",").rstrip("0") + " kg"
    sheet.cell(row=comma, column=column("flush 1 (g)"), value=text)
    grams = sheet.cell(row=pounds, column=column("flush 2 (g)")).value
    sheet.cell(row=pounds, column=column("flush 2 (g)"), value=f"{grams / 28.349523125:.2f} oz")
    last = sheet.max_column + 1
    sheet.cell(row=1, column=last, value="cellar temperature")
    sheet.cell(row=2, column=last, value="14 to 17 °C all along")


if __name__ == "__main__":
    main()
