"""Invented trials for the tests of the pages."""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import pandas as pd

from tests.reports.by_hand import analyse, estimate, finding
from trials.layout import Layout, Slot
from trials.records import Records
from trials.trial import Aim, Design, Margin, Treatment, Trial

__all__ = [
    "estimate", "finding", "four_mixes", "one_batch_a_side", "plan", "records", "renamed",
    "shortcut", "two_mixes",
]  # fmt: skip

START = dt.date(2031, 3, 3)
FIFTEEN = Margin(value=15.0, unit="%")


def plan(**changes):
    """A plan of two mixes in eight blocks, to be changed at will."""
    given = {
        "title": "Okara or wheat bran for king oyster",
        "question": "Does okara give more mushrooms per bag than wheat bran?",
        "species": "king oyster", "strain": "K7", "place": "the cellar", "grower": "Group of five",
        "start": START, "flushes": 3, "blind": True, "invented": True,
        "treatments": (
            Treatment(code="B", name="10 % wheat bran", control=True),
            Treatment(code="O", name="10 % okara"),
        ),
        "design": Design(
            layout="complete blocks", block="shelf", blocks=8, units_per_treatment=2, seed=41
        ),
        "aim": Aim(outcome="yield", worthwhile=Margin(value=15.0, unit="%")),
    }  # fmt: skip
    return Trial(**{**given, **changes})


def draw(trial, seed=5):
    """A layout drawn with NumPy alone."""
    rng = np.random.default_rng(seed)
    design, slots = trial.design, []
    codes = [
        one.code
        for one in trial.treatments
        for _ in range(design.units_per_treatment * design.bags_per_batch)
    ]
    for block in range(1, design.blocks + 1):
        name = f"{design.block} {block}" if design.blocks > 1 else ""
        for place, code in enumerate(rng.permutation(codes), start=1):
            slots.append((code, name, place))
    batch_of = {one.code: f"batch {n}" for n, one in enumerate(trial.treatments, start=1)}
    return Layout(
        slots=tuple(
            Slot(
                code=f"{n:02d}{'ABCDEFGHJK'[n % 10]}", treatment=str(code), block=block,
                batch=batch_of[str(code)] if design.applied_to == "batch" else "", position=place,
            )
            for n, (code, block, place) in enumerate(slots, start=1)
        ),
        seed=design.seed,
        randomisation=(
            "batches over all places" if design.applied_to == "batch"
            else "units within blocks" if design.blocks > 1 else "units over all places"
        ),
    )  # fmt: skip


def records(trial, *, means, sd=60.0, lost=(), blanks=(), seed=7):
    """Records with falling flushes; `lost` and `blanks` are positions in the layout."""
    layout, rng = draw(trial), np.random.default_rng(seed)
    keeps = 0.5 ** np.arange(trial.flushes)
    bags, flushes = [], []
    for n, slot in enumerate(layout.slots):
        total = max(20.0, rng.normal(means[slot.treatment], sd))
        parts = np.round(total * keeps / keeps.sum() * rng.uniform(0.85, 1.15, trial.flushes))
        states = ["weighed"] * trial.flushes
        if n in lost:
            states, parts = ["after loss"] * trial.flushes, parts * np.nan
        if n in blanks:
            states[-1], parts[-1] = "missing", np.nan
        missing = states.count("missing")
        where = {
            "code": slot.code, "treatment": slot.treatment, "block": slot.block, "batch": slot.batch
        }  # fmt: skip
        bags.append(
            where
            | {
                "position": slot.position,
                "fate": "contaminated" if n in lost else "finished",
                "seen": "green mould" if n in lost else "",
                "note": "",
                "dry_weight_g": 1000.0,
                "total_g": np.nan if missing else float(np.nansum(parts)),
                "missing_flushes": missing,
            }
        )
        flushes += [
            where | {"flush": k + 1, "grams": parts[k], "state": states[k], "bodies": np.nan}
            for k in range(trial.flushes)
        ]
    return Records(
        trial=trial, layout=layout, bags=pd.DataFrame(bags), flushes=pd.DataFrame(flushes),
        doubts=(), sources=("records.xlsx",),
    )  # fmt: skip


def two_mixes(*, worthwhile=FIFTEEN, gain=90.0, **changes):
    """Two mixes in eight blocks of four, three bags lost and one flush left blank."""
    trial = plan(aim=Aim(outcome="yield", worthwhile=worthwhile), **changes)
    read = records(trial, means={"B": 380.0, "O": 380.0 + gain}, lost=(3, 9, 22), blanks=(14,))
    return analyse(read)


def four_mixes(**changes):
    """Four mixes over one bench, six bags each, no blocks."""
    trial = plan(
        title="Four supplements for lion's mane",
        question="Which supplement gives more?",
        species="lion's mane",
        strain="", flushes=2, blind=False,
        treatments=(
            Treatment(code="N", name="No supplement", control=True),
            Treatment(code="S", name="Soya hulls 20 %"),
            Treatment(code="O", name="Oat bran 10 %"),
            Treatment(code="R", name="Rice bran 10 %"),
        ),
        design=Design(layout="completely random", units_per_treatment=6, seed=3),
        aim=Aim(outcome="yield", worthwhile=Margin(value=40.0, unit="g")),
        **changes,
    )  # fmt: skip
    read = records(
        trial, means={"N": 230.0, "S": 330.0, "O": 260.0, "R": 235.0}, sd=30.0, lost=(5,)
    )
    return analyse(read)


def one_batch_a_side():
    """Twenty bags a side, but one batch a side: no inference."""
    trial = plan(
        title="Hot water or steam",
        question="Does hot water give as much as steam?", blind=False, flushes=1,
        treatments=(
            Treatment(code="S", name="Steamed 3 hours", control=True),
            Treatment(code="W", name="Hot water 90 minutes"),
        ),
        design=Design(
            layout="completely random", units_per_treatment=1, bags_per_batch=20,
            applied_to="batch", seed=8,
        ),
        aim=Aim(outcome="yield", worthwhile=Margin(value=15.0, unit="%")),
    )  # fmt: skip
    return analyse(records(trial, means={"S": 400.0, "W": 340.0}, lost=(2, 4, 11)))


def shortcut(lost=()):
    """A shortcut asked to be no worse in losses, by default without one loss in eighty."""
    trial = plan(
        title="One hour less in the steamer",
        question="Are two hours of steam no worse than three?", blind=True, flushes=1,
        treatments=(
            Treatment(code="L", name="Steamed 3 hours", control=True),
            Treatment(code="K", name="Steamed 2 hours"),
        ),
        design=Design(layout="completely random", units_per_treatment=40, seed=8),
        aim=Aim(
            outcome="contamination", claim="no worse", worthwhile=Margin(value=10.0, unit="in 100")
        ),
    )  # fmt: skip
    return analyse(records(trial, means={"L": 400.0, "K": 390.0}, lost=lost))


def renamed(analysis, **names):
    """The same analysis with other treatment names."""
    read = analysis.records
    treatments = tuple(
        dataclasses.replace(one, name=names.get(one.code, one.name))
        for one in read.trial.treatments
    )
    trial = dataclasses.replace(read.trial, treatments=treatments)
    return dataclasses.replace(analysis, records=dataclasses.replace(read, trial=trial))
