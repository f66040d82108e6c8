"""What cannot be, or is hard to believe, in what stands in a unit's row."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise
from statistics import median

from trials.measures import GRAMS_IN, WeightUnit
from trials.problems import Problem
from trials.reading.bag_rows import BagRow
from trials.reading.columns import flush_date, flush_weight
from trials.trial import Trial

__all__ = ["check_bags"]

FAR_FROM_MIDDLE = 6.0
FEWEST_FOR_MIDDLE = 5
HIGHEST_EFFICIENCY = 2.5
LONGEST_TRIAL_DAYS = 1000
EARLIEST_DAYS = 60

_ORDER = ("spawned", "colonised", "first pins")


def check_bags(bags: list[BagRow], trial: Trial, file: str, problems: list[Problem]) -> None:
    """Add what cannot be (mistakes) and what is hard to believe (doubts).

    Parameters
    ----------
    bags : list of BagRow
    trial : Trial
    file : str
        Name of the file, for messages.
    problems : list of Problem
        Where everything found is added.

    Notes
    -----
    A weight more than six times, or less than a sixth of, the middle weight of its flush is a
    doubt: a slipped decimal mark or unit makes a factor of 10 or more. A biological efficiency
    over 250 % is a doubt. Both bounds are common practice, no source.
    """
    for bag in bags:
        _check_fate(bag, file, problems)
        _check_days(bag, trial, file, problems)
        _check_efficiency(bag, file, problems)
    for flush in range(1, trial.flushes + 1):
        _check_weights(bags, flush, trial.weights, file, problems)


def _add(
    problems: list[Problem],
    file: str,
    bag: BagRow,
    column: str,
    what: str,
    mend: str,
    *,
    doubt: bool = False,
) -> None:
    problems.append(
        Problem(
            file=file,
            row=bag.row,
            column=column,
            what=f"{bag.slot.code}: {what}",
            mend=mend,
            weight="doubt" if doubt else "mistake",
        )
    )


def _check_fate(bag: BagRow, file: str, problems: list[Problem]) -> None:
    if "fate" in bag.unread:  # told already
        return
    lost = bag.fate in ("contaminated", "lost otherwise")
    if "lost on" in bag.days and not lost:
        given = f"“{bag.fate}”" if bag.fate else "blank"
        what = f"a day of loss is given and the fate is {given}"
        mend = "Write contaminated or lost otherwise, or clear the day."
        _add(problems, file, bag, "fate", what, mend)
    if bag.seen and not bag.fate:
        what = "something was seen on it and the fate is blank"
        mend = "Write contaminated if it was thrown out for it; still going if it stands."
        _add(problems, file, bag, "fate", what, mend, doubt=True)


def _check_days(bag: BagRow, trial: Trial, file: str, problems: list[Problem]) -> None:
    known = [(name, bag.days[name]) for name in _ORDER if name in bag.days]
    for (before, first), (after, second) in pairwise(known):
        if second < first:
            what = f"{after} {second} is before {before} {first}"
            _add(problems, file, bag, after, what, "Check both days.")
    spawned, lost_on = bag.days.get("spawned"), bag.days.get("lost on")
    previous: tuple[int, dt.date] | None = None
    for flush, day in sorted(bag.picked.items()):
        column = flush_date(flush)
        if spawned is not None and day < spawned:
            what = f"flush {flush} on {day} is before spawning on {spawned}"
            _add(problems, file, bag, column, what, "Check both days.")
        if lost_on is not None and day > lost_on and bag.weights.get(flush):
            what = f"flush {flush} was weighed on {day}, after it was lost on {lost_on}"
            _add(problems, file, bag, column, what, "Check both days, or the code.")
        if previous is not None and day < previous[1]:
            what = f"flush {flush} on {day} is before flush {previous[0]} on {previous[1]}"
            _add(problems, file, bag, column, what, "Check both days.")
        if flush not in bag.weights and flush_weight(flush) not in bag.unread:
            what = f"flush {flush} has a day and no weight"
            mend = "Write the weight; 0 when you looked and there was nothing."
            _add(problems, file, bag, flush_weight(flush), what, mend, doubt=True)
        previous = (flush, day)
    if spawned is not None and lost_on is not None and lost_on < spawned:
        what = f"lost on {lost_on}, before spawning on {spawned}"
        _add(problems, file, bag, "lost on", what, "Check both days.")
    _check_far_days(bag, trial, file, problems)


def _check_far_days(bag: BagRow, trial: Trial, file: str, problems: list[Problem]) -> None:
    if trial.start is None:
        return
    days = [*bag.days.items(), *((flush_date(n), day) for n, day in bag.picked.items())]
    for name, day in days:
        after = (day - trial.start).days
        if not -EARLIEST_DAYS <= after <= LONGEST_TRIAL_DAYS:
            what = f"{day} is far from the planned start {trial.start}"
            _add(problems, file, bag, name, what, "Check the year.", doubt=True)


def _check_efficiency(bag: BagRow, file: str, problems: list[Problem]) -> None:
    if bag.dry_weight_g is None:
        return
    if bag.dry_weight_g <= 0:
        what = "the dry weight is 0"
        _add(problems, file, bag, "dry weight", what, "Write it, or leave it blank.")
        return
    total = sum(bag.weights.values())
    if total > HIGHEST_EFFICIENCY * bag.dry_weight_g:
        share = 100 * total / bag.dry_weight_g
        what = f"the mushrooms weigh {share:.0f} % of the dry substrate"
        mend = "Check that the dry weight is dry, and the unit."
        _add(problems, file, bag, "dry weight", what, mend, doubt=True)


def _check_weights(
    bags: list[BagRow], flush: int, unit: WeightUnit, file: str, problems: list[Problem]
) -> None:
    some = [bag.weights[flush] for bag in bags if bag.weights.get(flush)]
    if len(some) < FEWEST_FOR_MIDDLE:
        return
    middle = median(some)
    for bag in bags:
        grams = bag.weights.get(flush)
        if not grams or middle / FAR_FROM_MIDDLE <= grams <= middle * FAR_FROM_MIDDLE:
            continue
        here, usual = (f"{one / GRAMS_IN[unit]:.4g} {unit}" for one in (grams, middle))
        what = f"flush {flush} weighs {here}, and the middle of the trial is {usual}"
        mend = "Check the decimal mark and the unit; leave it if it is right."
        _add(problems, file, bag, flush_weight(flush), what, mend, doubt=True)
