"""Invent the demo “group”: run from the top of the checkout, writes data/demos/group.

Seven growers run the same two mixes. Everything is made up: the growers, the rooms, the numbers.
One lost a shelf, one weighed in pounds, one stopped after two flushes. Seeded, so that it can be
made again.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from trial_folder import demo_folder, draw_and_lock, filled_book, to_table, write_plan

from trials.group.group_file import GROUP_FILE, Member
from trials.group.invitation import add_members, first_group_text, grower_plan, grown_group_text
from trials.layout import Layout, Slot
from trials.trial import Trial
from trials.trial_file import check_trial

PLAN = """\
# An invented trial of an invented group. The growers, the rooms and every number are made up.

format = 1

[trial]
title = "Straw with coffee grounds, or without, in seven rooms"
question = "Do coffee grounds in the straw give more mushrooms per bag?"
species = "pearl oyster"
strain = "an invented strain, PO-11"
unit = "bag"
start = 2026-02-02
flushes = 3
blind = true              # labels hide the mix
weights = "g"
invented = true

[[treatments]]
code = "P"
name = "plain straw"
control = true
recipe = "straw"

[[treatments]]
code = "C"
name = "straw with coffee grounds"
recipe = "coffee"
note = "grounds from an invented café, a day old at most"

[design]
layout = "complete blocks"
block = "shelf"
blocks = 4
units_per_treatment = 3   # bags of each mix on each shelf
applied_to = "bag"
seed = 77

[aim]
outcome = "yield"
claim = "better"
worthwhile = "10 %"       # fetching the grounds is worth that much
confidence = 0.95

[costs]
price_per_kg = 10.0
cost_per_bag = 1.5
currency = "EUR"

[recipes.straw]
moisture_target = 0.70
ingredients = [
    { name = "wheat straw", amount = 600, unit = "g", moisture = 0.11 },
]
spawn = { name = "grain spawn", amount = 100, unit = "g", moisture = 0.45 }

[recipes.coffee]
moisture_target = 0.70
ingredients = [
    { name = "wheat straw", amount = 480, unit = "g", moisture = 0.11 },
    { name = "coffee grounds", amount = 300, unit = "g", moisture = 0.62 },
]
spawn = { name = "grain spawn", amount = 100, unit = "g", moisture = 0.45 }
"""

SPAWNED = dt.date(2026, 2, 2)
DRAWN = dt.datetime(2026, 1, 28, 19, 30, tzinfo=dt.timezone(dt.timedelta(hours=1)))
POUND = 453.59237
SHARES = (0.58, 0.28, 0.14)
SHELF_SD, BAG_SD, FLUSH_SD = 0.06, 0.13, 0.11
LOSS = 0.06
SEEN = ("green patch", "green patch", "wet and sour", "black patch")


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """What is invented of one grower: the room, the habits, and what coffee does there."""

    name: str
    temperature: str
    heat: str
    hours: float
    plain_g: float
    gain: float
    agreed: bool = False
    weights: str = "g"
    form: str = "workbook"
    stops_after: int = 3
    lost_shelf: str = ""
    design: tuple[tuple[str, str], ...] = ()


ROOMS = (
    Room(name="Odalys Fernwood (invented)", temperature="14 °C", heat="steam", hours=3,
         plain_g=470, gain=1.24, agreed=True),
    Room(name="Berit Halvgard (invented)", temperature="21 °C", heat="hot water", hours=2,
         plain_g=390, gain=1.06, form="table"),
    Room(name="Casimir Loam (invented)", temperature="15 °C", heat="steam", hours=3,
         plain_g=430, gain=1.19, lost_shelf="shelf 3"),
    Room(name="Dunja Reed (invented)", temperature="18 °C", heat="hot water", hours=2,
         plain_g=410, gain=1.12, form="pickings",
         design=(('layout = "complete blocks"\nblock = "shelf"\nblocks = 4\n'
                  "units_per_treatment = 3   # bags of each mix on each shelf",
                  'layout = "completely random"   # one large rack\n'
                  "units_per_treatment = 12"),)),
    Room(name="Ebbe Sandwick (invented)", temperature="64 °F", heat="hot water", hours=1.5,
         plain_g=440, gain=1.14, weights="lb", form="table"),
    Room(name="Fern Ockerby (invented)", temperature="23 °C", heat="hot water", hours=2,
         plain_g=360, gain=1.02, stops_after=2),
    Room(name="Gilda Marrow (invented)", temperature="16 °C", heat="steam", hours=4,
         plain_g=500, gain=1.20, form="table",
         design=(("blocks = 4", "blocks = 5"),)),
)  # fmt: skip


def main() -> None:
    """Write the folder of the group."""
    top = demo_folder("group")
    trial = check_trial(PLAN)
    members = add_members((), [("", room.name) for room in ROOMS])
    text = grown_group_text(first_group_text("Seven invented growers, one trial"), members)
    for member, room in zip(members, ROOMS, strict=True):
        if room.agreed:
            before, after = text.split(f'"{member.name}"')
            agreed = after.replace("show_name = false", "show_name = true", 1)
            text = f'{before}"{member.name}"{agreed}'
    (top / "trial.toml").write_text(PLAN, encoding="utf-8")
    (top / GROUP_FILE).write_text(text, encoding="utf-8")
    rng = np.random.default_rng(20260203)
    for member, room in zip(members, ROOMS, strict=True):
        write_grower(rng, top / member.folder, plan_of(trial, member, room), room)


def plan_of(trial: Trial, member: Member, room: Room) -> str:
    """Give one grower's plan, with what the room was like filled in."""
    shown = Member(letter=member.letter, folder=member.folder, name=member.name,
                   show_name=room.agreed)  # fmt: skip
    text = grower_plan(PLAN, trial, shown).replace('weights = "g"', f'weights = "{room.weights}"')
    for old, new in room.design:
        text = replace_once(text, old, new)
    for line, value in (
        ('# temperature = "18 °C"  ', f'temperature = "{room.temperature}"  '),
        ('# heat_treatment = "steam" ', f'heat_treatment = "{room.heat}" '),
        ("# heat_hours = 4  ", f"heat_hours = {room.hours:g}  "),
    ):
        text = replace_once(text, line, value)
    return text


def replace_once(text: str, old: str, new: str) -> str:
    """Replace what must stand there exactly once."""
    if text.count(old) != 1:
        raise ValueError(f"{old!r} stands {text.count(old)} times")
    return text.replace(old, new)


def write_grower(rng: np.random.Generator, folder: Path, plan: str, room: Room) -> None:
    """Write the trial folder of one grower."""
    folder.mkdir(exist_ok=True)
    trial, layout, lock = draw_and_lock(plan, DRAWN)
    shelves = {block: float(np.exp(rng.normal(0, SHELF_SD))) for block in layout.blocks}
    bags = [invent_bag(rng, slot, room, shelves[slot.block]) for slot in layout.slots]
    write_plan(folder, plan, layout, lock)
    {"workbook": write_workbook, "table": write_table, "pickings": write_pickings}[room.form](
        folder, trial, layout, bags
    )


def invent_bag(rng: np.random.Generator, slot: Slot, room: Room, shelf: float) -> dict[str, Any]:
    """Invent what is written down for one bag."""
    entries: dict[str, Any] = {"spawned": SPAWNED}
    white = SPAWNED + dt.timedelta(days=int(rng.integers(14, 21)))
    pins = white + dt.timedelta(days=int(rng.integers(6, 11)))
    lost = rng.random() < LOSS
    mean = room.plain_g * shelf * (room.gain if slot.treatment == "C" else 1.0)
    bag = mean * float(np.exp(rng.normal(0, BAG_SD)))
    grams = [bag * share * float(np.exp(rng.normal(0, FLUSH_SD))) for share in SHARES]
    gaps = [int(rng.integers(9, 14)) for _ in SHARES]
    if slot.block and slot.block == room.lost_shelf:
        return entries | {"colonised": white, "fate": "lost otherwise", "seen": "torn",
                          "lost on": dt.date(2026, 2, 23),
                          "note": "the shelf came down in the night"}  # fmt: skip
    if lost:
        day = SPAWNED + dt.timedelta(days=int(rng.integers(7, 14)))
        return entries | {"fate": "contaminated", "lost on": day, "seen": str(rng.choice(SEEN))}
    entries |= {"colonised": white, "first pins": pins, "fate": "finished"}
    day, unit = pins + dt.timedelta(days=5), POUND if room.weights == "lb" else 1.0
    for flush in range(1, room.stops_after + 1):
        weight = round(grams[flush - 1] / unit, 2 if room.weights == "lb" else None)
        entries[f"flush {flush} ({room.weights})"] = weight
        entries[f"flush {flush} date"] = day
        day += dt.timedelta(days=gaps[flush - 1])
    return entries


def write_workbook(folder: Path, trial: Trial, layout: Layout, bags: list[dict[str, Any]]) -> None:
    """Fill in the record book."""
    book = filled_book(trial, layout, bags)
    book.save(folder / "records.xlsx")


def write_table(folder: Path, trial: Trial, layout: Layout, bags: list[dict[str, Any]]) -> None:
    """Write one row a bag as text."""
    del trial
    heads = list(dict.fromkeys(name for entries in bags for name in entries))
    rows = [
        [slot.code, *(entries.get(name, "") for name in heads)]
        for slot, entries in zip(layout.slots, bags, strict=True)
    ]
    (folder / "bags.csv").write_text(to_table(["code", *heads], rows), encoding="utf-8")


def write_pickings(folder: Path, trial: Trial, layout: Layout, bags: list[dict[str, Any]]) -> None:
    """Write the pickings in a table of their own, in the order of their days."""
    pickings = []
    for slot, entries in zip(layout.slots, bags, strict=True):
        for flush in range(1, trial.flushes + 1):
            weight = entries.pop(f"flush {flush} ({trial.weights})", None)
            day = entries.pop(f"flush {flush} date", None)
            if weight is not None:
                pickings.append([slot.code, day, weight])
    pickings.sort(key=lambda one: (one[1], one[0]))
    write_table(folder, trial, layout, bags)
    heads = ["code", "date", f"weight ({trial.weights})"]
    (folder / "harvests.csv").write_text(to_table(heads, pickings), encoding="utf-8")


if __name__ == "__main__":
    main()
