"""Whole trial folders, invented by chance: plan, draw and records as a grower would keep them.

Every layout, claim, outcome and kind of margin comes up; effects go from none to large, both ways.
"""

from __future__ import annotations

import datetime as dt
import random
from itertools import product

import numpy as np

from analyses.questions import analyse
from tests.trials.folders import make_folder, write_bags
from trials.assumptions import Assumptions
from trials.records import read
from trials.simulate import Truth, draw_trials, places
from trials.trial_file import check_trial

__all__ = ["KINDS", "simulated_trial"]

START = dt.date(2031, 3, 3)
NAMES = (
    "wheat bran", "okara", "soya hulls", "rice husk", "oat bran", "coffee grounds", "hemp shives",
)  # fmt: skip
UNITS = ("bag", "bag", "bucket", "tray", "log", "box")
MARGINS = {
    "yield": ("5 %", "15 %", "30 %", "40 g", "2 oz", "0.1 kg", "0.25 lb"),
    "contamination": ("5 in 100", "10 in 100", "25 in 100"),
    "flush drop": ("4 in 100", "10 in 100"),
    "days to colonise": ("1 day", "3 days"),
    "days to pins": ("1 day", "2.5 days"),
}
OUTCOMES, CLAIMS = tuple(MARGINS), ("better", "no worse", "same")


def _random(rng):
    return 'layout = "completely random"\n' + f"units_per_treatment = {rng.randint(3, 12)}\n"


def _blocks(rng):
    block = rng.choice(("shelf", "room", "rack", "day"))
    return (
        f'layout = "complete blocks"\nblock = "{block}"\nblocks = {rng.randint(3, 7)}\n'
        f"units_per_treatment = {rng.randint(1, 2)}\n"
    )


def _batches(rng):
    bags = rng.randint(2, 8)
    if rng.random() < 0.5:
        layout = _blocks(rng).replace("treatment = 2", "treatment = 1")
    else:
        layout = f'layout = "completely random"\nunits_per_treatment = {rng.randint(1, 7)}\n'
    return layout + f'applied_to = "batch"\nbags_per_batch = {bags}\n'


def _square(_rng):
    return 'layout = "latin square"\nrow = "shelf"\ncolumn = "day"\n'


def _table(rng):
    return (
        f'layout = "rows and columns"\nrow = "shelf"\nrows = {rng.randint(3, 8)}\n'
        f'column = "day"\nunits_per_treatment = {rng.randint(1, 2)}\n'
    )


def _split(rng):
    return (
        f'layout = "split plot"\nblock = "week"\nblocks = {rng.randint(3, 7)}\n'
        f'units_per_treatment = {rng.randint(1, 3)}\nbatch_factor = "heat"\n'
    )


def _incomplete(rng):
    return (
        f'layout = "incomplete blocks"\nblock = "shelf"\nblocks = {4 * rng.randint(2, 4)}\n'
        f"places = {rng.randint(2, 3)}\n"
    )


def _extra(rng):
    layout = rng.choice((_random, _blocks))(rng)
    return layout + f"extra_control_units = {rng.randint(1, 4)}\n"


def _growers(rng):
    return (
        'layout = "complete blocks"\nblock = "shelf"\n'
        f"blocks = {rng.randint(2, 3)}\nunits_per_treatment = {rng.randint(1, 2)}\n"
        'growers = ["Grower A", "Grower B", "Grower C"]\n'
    )


def _factorial(rng):
    return rng.choice((_random, _blocks))(rng)


KINDS = {
    "completely random": (_random, (2, 2, 3, 4)), "complete blocks": (_blocks, (2, 2, 3, 4)),
    "batches": (_batches, (2, 2, 3)), "latin square": (_square, (3, 3, 4)),
    "rows and columns": (_table, (2, 2, 3)), "split plot": (_split, (2, 2, 2, 3)),
    "incomplete blocks": (_incomplete, (4,)), "extra control units": (_extra, (2, 2, 3)),
    "growers": (_growers, (2, 2, 3)), "factorial": (_factorial, (2,)),
}  # fmt: skip
"""The layouts, each with how to plan one and how many treatments it may get."""


def simulated_trial(folder, number, *, seed):
    """Plan, draw, keep and analyse one trial in a folder.

    Layout, outcome and claim go round with the number, so that each meets each; the rest is by
    chance.
    """
    rng = random.Random(f"{seed} {number}")
    kind = list(KINDS)[number % len(KINDS)]
    outcome = OUTCOMES[number // len(KINDS) % len(OUTCOMES)]
    claim = CLAIMS[number // (len(KINDS) * len(OUTCOMES)) % len(CLAIMS)]
    trial = check_trial(_plan(rng, kind, outcome, claim, seed=number))
    layout = make_folder(folder, trial)
    _keep_records(folder, trial, layout, np.random.default_rng([seed, number]), rng)
    return analyse(read(folder))


def _plan(rng, kind, outcome, claim, *, seed):
    make, counts = KINDS[kind]
    count = rng.choice(counts)
    names = list(NAMES)
    rng.shuffle(names)
    tables = "".join(_treatments(kind, count, names))
    margin = rng.choice(MARGINS[outcome])
    worthwhile = "" if claim == "better" and rng.random() < 0.2 else f'worthwhile = "{margin}"\n'
    costs = '[costs]\nprice_per_kg = 12\ncurrency = "EUR"\n' if rng.random() < 0.5 else ""
    flushes = rng.randint(2, 4) if outcome == "flush drop" else rng.randint(1, 3)
    unit = rng.choice(UNITS) if kind not in ("batches", "split plot") else "bag"
    return (
        f'format = 1\n[trial]\ntitle = "{NAMES[0]} and others"\nquestion = "Which gives more?"\n'
        f'species = "grey oyster"\nunit = "{unit}"\nstart = {START}\n'
        f"flushes = {flushes}\nblind = {rng.choice(('true', 'false'))}\n"
        f'weights = "{rng.choice(("g", "g", "kg", "oz", "lb"))}"\ninvented = true\n'
        f"{tables}[design]\n{make(rng)}seed = {seed}\n"
        f'[aim]\noutcome = "{outcome}"\nclaim = "{claim}"\n{worthwhile}'
        f"confidence = {rng.choice((0.8, 0.9, 0.95, 0.95, 0.95, 0.99))}\n{costs}"
    )


def _treatments(kind, count, names):
    pairs = [None] * count
    if kind in ("split plot", "factorial"):
        pairs = list(product(("long", "short"), names[:count]))
    for place, pair in enumerate(pairs):
        told = f"{pair[0]} steam, {pair[1]}" if pair else f"{10 * (place + 1)} % {names[place]}"
        yield f'[[treatments]]\ncode = "T{place}"\nname = "{told}"\n'
        if place == 0:
            yield "control = true\n"
        if pair:
            yield f'factors = {{ heat = "{pair[0]}", mix = "{pair[1]}" }}\n'


def _keep_records(folder, trial, layout, generator, rng):
    count, spread = len(trial.treatments), rng.choice((0.0, 0.1, 0.4))
    loses = rng.choice((0.0, 0.03, 0.1, 0.3))
    truth = Truth(
        means=tuple(400 * (1 + spread * rng.uniform(-1, 1)) for _ in range(count)),
        lost=tuple(min(0.95, loses * rng.choice((0, 1, 1, 2.5))) for _ in range(count)),
        kept=tuple(0.5 * (1 + 0.6 * spread * rng.uniform(-1, 1)) for _ in range(count)),
    )
    assumed = Assumptions(cv=rng.choice((0.12, 0.2, 0.35)), cv_flush=0.12, missing=0.005)
    drawn = draw_trials(
        places(trial, layout), truth, assumed,
        flushes=trial.flushes, trials=1, generator=generator,
    )  # fmt: skip
    slower = {one.code: 12 * spread * rng.uniform(-1, 1) for one in trial.treatments}
    looks, dry = rng.choice((1, 2, 4)), rng.choice((None, 700.0))
    headings = ["code", "fate", "lost on", "spawned", "colonised", "first pins", "dry weight"]
    headings += [f"flush {flush} (g)" for flush in range(1, trial.flushes + 1)]

    def row(place, slot):
        grams, lost = drawn.grams[place, :, 0], bool(drawn.lost[place, 0])
        weights = ["" if np.isnan(one) else f"{one:.0f}" for one in grams]
        days = 16 + slower[slot.treatment] + generator.normal(0, 2.0)
        pins = days + max(1.0, 9 + generator.normal(0, 2.0))
        white, seen = (START + dt.timedelta(int(-(-day // looks) * looks)) for day in (days, pins))
        late = lost and any(weights)
        gone = START + dt.timedelta(60 if late else int(generator.integers(3, 9)))
        return [
            slot.code, "contaminated" if lost else "finished", gone if lost else "", START,
            "" if lost and not late else white, "" if lost and not late else seen,
            dry or "", *weights,
        ]  # fmt: skip

    write_bags(folder, layout, headings, row)
