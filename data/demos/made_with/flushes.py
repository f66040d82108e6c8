"""Invent the demo trial “flushes”: run from the top of the checkout, writes data/demos/flushes.

Everything is made up: the grower, the shed, the numbers. Seeded, so that it can be made again.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
from trial_folder import demo_folder, draw_and_lock, to_table, write_plan

from trials.layout import Slot

PLAN = """\
# An invented trial. The grower, the shed and every number are made up.

format = 1

[trial]
title = "Does soya hull keep the later flushes up?"
question = "Does a mix with soya hulls keep more of each flush than plain straw?"
species = "pink oyster"
strain = "an invented strain, PK-3"
place = "an invented garden shed with six racks"
grower = "Osk Tillerby (invented)"
unit = "bag"
start = 2026-04-06
flushes = 4
blind = true              # labels hide the mix
weights = "oz"            # the scale shows ounces
looks = 2                 # every bag was looked at every second day
invented = true

[[treatments]]
code = "S"
name = "plain straw"
control = true
note = "what Osk has always used"

[[treatments]]
code = "H"
name = "straw with soya hulls"
note = "15 % of the dry weight, a little dearer"

[design]
layout = "complete blocks"
block = "rack"
blocks = 6
units_per_treatment = 4   # bags of each mix on each rack
applied_to = "bag"
seed = 2604

[aim]
outcome = "flush drop"
claim = "better"
worthwhile = "8 in 100"   # so much more of each flush would be worth the hulls
confidence = 0.95

[costs]
price_per_kg = 12.0
cost_per_bag = 1.6
shelf_days_to_first = 22
shelf_days_per_flush = 10
currency = "USD"
"""

SPAWNED = dt.date(2026, 4, 6)
OUNCE = 28.349523125
FIRST_G = {"S": 265.0, "H": 280.0}
KEPT = {"S": 0.52, "H": 0.66}
FAILS = {"S": 0.05, "H": 0.03}  # more for each flush
LOST_EARLY, LOST_LATER = 0.05, 0.035
RACK_SD, BAG_SD, FLUSH_SD = 0.07, 0.13, 0.16
SEEN = ("green patch", "green patch", "wet and sour", "black patch")


def main() -> None:
    """Write the trial folder."""
    folder = demo_folder("flushes")
    drawn = dt.datetime(2026, 4, 4, 9, 5, tzinfo=dt.timezone(dt.timedelta(hours=-5)))
    _, layout, lock = draw_and_lock(PLAN, drawn)
    rng = np.random.default_rng(20260406)
    racks = {block: float(np.exp(rng.normal(0, RACK_SD))) for block in layout.blocks}
    bags, pickings = [], []
    for slot in layout.slots:
        row, picked = invent_bag(rng, slot, racks[slot.block])
        bags.append([slot.code, *row])
        pickings += [[slot.code, *one] for one in picked]
    pickings.sort(key=lambda one: (one[1], one[0]))
    heads = ["code", "fate", "lost on", "seen", "spawned", "colonised", "first pins", "note"]
    write_plan(folder, PLAN, layout, lock)
    for name, text in (
        ("bags.csv", to_table(heads, bags)),
        ("harvests.csv", to_table(["code", "date", "weight (oz)", "bodies"], pickings)),
    ):
        (folder / name).write_text(text, encoding="utf-8")


def looked(day: int) -> int:
    """Give the first look on or after a day: every second day."""
    return day + day % 2


def invent_bag(
    rng: np.random.Generator, slot: Slot, rack: float
) -> tuple[list[object], list[list[object]]]:
    """Invent what is written down for one bag, and its pickings."""
    mix = slot.treatment
    quick = 1.0 if mix == "S" else 0.9
    white = round(quick * float(rng.normal(15, 1.6)))
    pins = white + int(rng.integers(4, 8))
    level = FIRST_G[mix] * rack * float(np.exp(rng.normal(0, BAG_SD)))
    if rng.random() < LOST_EARLY:
        lost, seen = looked(int(rng.integers(7, 13))), str(rng.choice(SEEN))
        return ["contaminated", on(lost), seen, on(0), "", "", ""], []
    day, picked = pins + 4, []
    for flush in range(4):
        if flush and rng.random() < LOST_LATER * flush:
            lost, seen = looked(day - 3), str(rng.choice(SEEN))
            fate = ["contaminated", on(lost), seen]
            return [*fate, on(0), on(looked(white)), on(looked(pins)), ""], picked
        grams = level * KEPT[mix] ** flush * float(np.exp(rng.normal(0, FLUSH_SD)))
        if flush == 0 or rng.random() > FAILS[mix] * flush:
            picked += pick(rng, day, grams)
        day += int(rng.integers(9, 12))
    return ["finished", "", "", on(0), on(looked(white)), on(looked(pins)), ""], picked


def pick(rng: np.random.Generator, day: int, grams: float) -> list[list[object]]:
    """Invent the pickings of one flush: one, or two on days that follow, in quarter ounces."""
    parts = [1.0] if rng.random() < 0.7 else [0.6, 0.4]
    return [
        [on(day + later), max(0.25, round(4 * grams * part / OUNCE) / 4),
         max(1, round(grams * part / 22))]
        for later, part in enumerate(parts)
    ]  # fmt: skip


def on(day: int) -> str:
    """Write a day since spawning as a date."""
    return (SPAWNED + dt.timedelta(days=day)).isoformat()


if __name__ == "__main__":
    main()
