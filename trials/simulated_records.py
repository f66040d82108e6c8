"""One simulated trial as the records that a grower would have kept."""

from __future__ import annotations

import datetime as dt
import math

from trials.layout import Layout
from trials.lock import Lock
from trials.problems import Problem
from trials.reading.bag_rows import BagRow
from trials.reading.flush_states import bag_frame, flush_frame, settle_fates
from trials.records import Records
from trials.simulate import Simulated
from trials.simulated_days import STAGES, SimulatedDays, first_day
from trials.trial import Trial

__all__ = ["SOURCE", "to_records"]

SOURCE = "simulated"


def to_records(
    trial: Trial, layout: Layout, simulated: Simulated, which: int, *, lock: Lock | None = None
) -> Records:
    """Give one simulated trial as records, by the rules that real ones are read by.

    Parameters
    ----------
    trial : Trial
    layout : Layout
        The one that the trial was simulated on.
    simulated : Simulated
    which : int
        Number of the trial, from 0.
    lock : Lock, optional
        The plan as locked; without one everything counts as explored.

    Returns
    -------
    Records
        Without dates, but for those of the stage that the plan asks about.
    """
    bags: list[BagRow] = []
    for place, slot in enumerate(layout.slots):
        weights = simulated.grams[place, :, which].tolist()
        bag = BagRow(row=place + 2, slot=slot)
        bag.fate = "contaminated" if simulated.lost[place, which] else "finished"
        bag.weights = {
            flush: grams for flush, grams in enumerate(weights, start=1) if not math.isnan(grams)
        }
        if simulated.days is not None:
            bag.days = _dates(trial, simulated.days, place, which)
        bags.append(bag)
    doubts: list[Problem] = []
    settle_fates(bags, trial, SOURCE, doubts)
    flushes = flush_frame(bags, trial, SOURCE, doubts)
    return Records(
        trial=trial,
        layout=layout,
        bags=bag_frame(bags, flushes),
        flushes=flushes,
        doubts=tuple(doubts),
        sources=(SOURCE,),
        lock=lock,
    )


def _dates(trial: Trial, days: SimulatedDays, place: int, which: int) -> dict[str, dt.date]:
    start = first_day(trial)
    found = {"spawned": start}
    written = {STAGES[trial.aim.outcome]: days.seen, "lost on": days.lost_on}
    for heading, each in written.items():
        if not math.isnan(each[place, which]):
            found[heading] = start + dt.timedelta(days=int(each[place, which]))
    return found
