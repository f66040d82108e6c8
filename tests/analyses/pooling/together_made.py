"""Groups of growers made by hand from simulated records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from tests.trials.folders import DRAWN
from tests.trials.plans import plan
from trials.assumptions import Assumptions
from trials.designs import draw
from trials.lock import make_lock
from trials.records import Records
from trials.simulate import Truth, draw_trials, places
from trials.simulated_records import to_records
from trials.together import GrowerTrial, Together
from trials.trial import Trial

CROP = Assumptions(missing=0.0, contaminated=0.0, flush_fails=0.0)
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def together_of(
    records: Sequence[Records],
    *,
    notes: Sequence[Mapping[str, str]] | None = None,
    reference: Trial | None = None,
    **more,
) -> Together:
    """Put records of several growers together, each under a letter."""
    growers = []
    for number, one in enumerate(records):
        group = (reference or records[0].trial).treatments
        codes = {each.treatment for each in one.layout.slots} & {each.code for each in group}
        name = LETTERS[number] if number < 26 else str(number)
        growers.append(
            GrowerTrial(
                key=f"grower-{number + 1}",
                shown=f"Grower {name}",
                records=one,
                notes=dict(notes[number]) if notes else {},
                treatments=tuple(t.code for t in one.trial.treatments if t.code in codes),
            )
        )
    return Together(growers=tuple(growers), reference=reference or records[0].trial, **more)


def simulated_group(
    trial: Trial | None = None,
    *,
    growers: int = 6,
    gain: float = 60.0,
    spread: float = 0.0,
    lost: tuple[float, float] = (0.05, 0.05),
    kept: tuple[float, float] = (),
    crop: Assumptions = CROP,
    seed: int = 1,
    **more,
) -> Together:
    """Simulate growers whose true gain varies about one value."""
    trial = trial or plan(blocks=4, units=2, flushes=3)
    rng = np.random.default_rng(seed)
    found = []
    for number in range(growers):
        layout = draw(trial, 100 * seed + number)
        own = rng.normal(gain, spread)
        truth = Truth(means=(crop.mean, crop.mean + own), lost=lost, kept=kept)
        simulated = draw_trials(
            places(trial, layout), truth, crop, flushes=trial.flushes, trials=1, generator=rng
        )
        lock = make_lock(trial, layout, drawn=DRAWN, version="0")
        found.append(to_records(trial, layout, simulated, 0, lock=lock))
    return together_of(found, reference=trial, **more)


def with_totals(records: Records, totals: Sequence[float]) -> Records:
    """Replace the totals of the bags."""
    return replace(records, bags=records.bags.assign(total_g=np.asarray(totals, float)))
