"""Another flush or a new bag, and what the difference between treatments is worth in money.

A place on the shelf is a renewal-reward process (Ross 1996, Stochastic Processes, 2nd ed., section
3.6): a unit is put up, picked n times and replaced. The best n has the highest expected money of a
cycle over its expected days; a unit is kept while its next flush brings more a day than that best
average. A unit that is thrown out frees its place at the end of the stage in which it was lost.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyses.estimate import Span
from analyses.finding import Finding
from analyses.flush.outlook import JointFit
from analyses.flush.worth_story import BestFlushes, FlushValue, MoneyDifference, Turning, Worth
from analyses.models.flush.flush_parts import FlushParts
from analyses.models.flush.replacement import best_cycle, long_run, turning_price
from analyses.yields import STARTED
from trials.records import Records
from trials.trial import Costs

__all__ = ["cycle", "worth"]

Array: TypeAlias = npt.NDArray[np.float64]
WEEK = 7


def worth(records: Records, findings: Sequence[Finding], joint: JointFit | None) -> Worth | None:
    """Say what the treatments and their flushes are worth.

    Parameters
    ----------
    records : Records
        Its plan holds price, cost and days.
    findings : sequence of Finding
        Those about yield per unit started give the difference in money.
    joint : JointFit or None
        What each flush brings.

    Returns
    -------
    Worth or None
        None without a price; without cost and days only the differences per unit.
    """
    costs = records.trial.costs
    if not costs.price_per_kg:
        return None
    placed = joint is not None and _whole(costs) and np.isfinite(joint.parts.expected).all()
    differences = tuple(
        _difference(finding, costs, joint if placed else None)
        for finding in findings
        if finding.estimate.outcome == "yield"
        and finding.estimate.estimand == STARTED
        and not finding.estimate.withheld
    )
    if joint is None or not placed:
        return Worth(currency=costs.currency, differences=differences) if differences else None
    return Worth(
        currency=costs.currency,
        differences=differences,
        values=tuple(
            one for place in range(len(joint.codes)) for one in _values(joint, place, costs)
        ),
        best=tuple(_best(joint, place, costs) for place in range(len(joint.codes))),
    )


def _whole(costs: Costs) -> bool:
    """Whether everything is there that the renewal rule needs."""
    return costs.cost_per_bag is not None and bool(
        costs.shelf_days_to_first and costs.shelf_days_per_flush
    )


def cycle(expected_g: Array, standing: Array, costs: Costs) -> tuple[Array, Array, Array]:
    """Give the weight, money and days of a cycle that ends after each flush.

    Parameters
    ----------
    expected_g : ndarray, shape (flushes, ...)
        Grams of each flush per unit started.
    standing : ndarray, same shape
        Share of the units started that still stands when each flush is picked.
    costs : Costs
        With price, cost and days.

    Returns
    -------
    kilograms, money, days : ndarray, same shape
        Money has the cost of the unit taken off. Days to the first flush are spent by every unit,
        days to each later one by those that stood at the flush before.
    """
    kilograms = np.cumsum(expected_g, axis=0) / 1000
    money = (costs.price_per_kg or 0.0) * kilograms - (costs.cost_per_bag or 0.0)
    later = (costs.shelf_days_per_flush or 0.0) * standing[:-1]
    first = np.full_like(standing[:1], costs.shelf_days_to_first or 0.0)
    days = np.cumsum(np.concatenate([first, later]), axis=0)
    return np.asarray(kilograms), np.asarray(money), np.asarray(days)


def _rates(parts: FlushParts, place: int, costs: Costs) -> Array:
    """Give the long-run money per place and day by flush, shape (flushes, trials)."""
    _, money, days = cycle(parts.expected[place], parts.standing[place], costs)
    return long_run(money, days)


def _per_day(parts: FlushParts, place: int, costs: Costs) -> Array:
    """Give each flush's money per day of a unit that stood at its start."""
    grams, standing = parts.expected[place], parts.standing[place]
    days = np.full_like(grams, costs.shelf_days_per_flush or 0.0)
    days[1:] *= standing[:-1]
    days[0] = costs.shelf_days_to_first or 0.0
    return np.asarray((costs.price_per_kg or 0.0) * grams / 1000 / days)


def _values(joint: JointFit, place: int, costs: Costs) -> list[FlushValue]:
    now, rate = _per_day(joint.parts, place, costs), _rates(joint.parts, place, costs)
    drawn = joint.drawn
    days = None if drawn is None else _per_day(drawn, place, costs)
    rates = None if drawn is None else _rates(drawn, place, costs)
    unit = f"{costs.currency} a day".strip()
    return [
        FlushValue(
            treatment=joint.codes[place],
            flush=k + 1,
            days=float((costs.shelf_days_per_flush if k else costs.shelf_days_to_first) or 0.0),
            per_day=joint.span(now[k, 0], None if days is None else days[k], unit),
            long_run=joint.span(rate[k, 0], None if rates is None else rates[k], unit),
            foretold=k >= joint.picked,
        )
        for k in range(len(now))
    ]


def _best(joint: JointFit, place: int, costs: Costs) -> BestFlushes:
    kilograms, money, days = cycle(
        joint.parts.expected[place, :, 0], joint.parts.standing[place, :, 0], costs
    )
    rates, chosen = long_run(money, days), int(best_cycle(money, days))
    drawn = None if joint.drawn is None else _rates(joint.drawn, place, costs)
    found: list[tuple[int, float]] = []
    if drawn is not None:
        wins = Counter((np.argmax(drawn, axis=0) + 1).tolist())
        found = sorted((int(n), count / drawn.shape[1]) for n, count in wins.items())
    week = joint.span(
        WEEK * rates[chosen], None if drawn is None else WEEK * drawn[chosen],
        f"{costs.currency} a week".strip(),
    )  # fmt: skip
    return BestFlushes(
        treatment=joint.codes[place],
        flushes=chosen + 1,
        sure=dict(found).get(chosen + 1, 0.0) if found else float("nan"),
        others=tuple(found),
        per_week=week,
        wrong=tuple(
            (n + 1, float(WEEK * (rates[chosen] - rates[n])))
            for n in range(len(rates))
            if n != chosen
        ),
        foretold=chosen >= joint.picked,
        turnings=_turnings(kilograms, days, chosen, costs),
    )


def _turnings(kilograms: Array, days: Array, chosen: int, costs: Costs) -> tuple[Turning, ...]:
    """Find the nearest prices at which another number of flushes is the best, below and above."""
    price, cost = costs.price_per_kg or 0.0, costs.cost_per_bag or 0.0
    if not cost:
        return ()
    crossings = []
    for n in range(len(days)):
        if n == chosen:
            continue
        at = turning_price(
            (float(kilograms[chosen]), float(kilograms[n])), (float(days[chosen]), float(days[n])),
            cost,
        )  # fmt: skip
        if at is not None:
            # Only the ratio of price to cost decides, so a cost turns where its price would.
            crossings.append(
                Turning(flushes=n + 1, price_per_kg=at, cost_per_unit=cost * price / at)
            )
    below = [one for one in crossings if one.price_per_kg <= price]
    above = [one for one in crossings if one.price_per_kg > price]
    nearest = [max(below, key=lambda one: one.price_per_kg)] if below else []
    return (*nearest, *([min(above, key=lambda one: one.price_per_kg)] if above else []))


def _difference(finding: Finding, costs: Costs, joint: JointFit | None) -> MoneyDifference:
    one, per_gram = finding.estimate, (costs.price_per_kg or 0.0) / 1000
    week = None
    if joint is not None and {one.treatment, one.control} <= set(joint.codes):
        mine, base = (joint.codes.index(code) for code in (one.treatment, one.control))
        week = _weekly(joint, mine, base, costs)
    return MoneyDifference(
        treatment=one.treatment,
        control=one.control,
        per_unit=Span(
            value=per_gram * one.value, low=per_gram * one.low, high=per_gram * one.high,
            unit=costs.currency,
        ),
        per_week=week,
    )  # fmt: skip


def _weekly(joint: JointFit, mine: int, base: int, costs: Costs) -> Span:
    last = joint.picked - 1

    def gap(parts: FlushParts) -> Array:
        return np.asarray(
            WEEK * (_rates(parts, mine, costs)[last] - _rates(parts, base, costs)[last])
        )

    unit = f"{costs.currency} a week".strip()
    draws = None if joint.drawn is None else gap(joint.drawn)
    return joint.span(float(gap(joint.parts)[0]), draws, unit)
