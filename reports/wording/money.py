"""Money in words: what a difference is worth, how many flushes pay, and where that turns."""

from __future__ import annotations

import math

from analyses.analysis import Analysis
from analyses.estimate import Span
from analyses.flush.worth_story import BestFlushes, MoneyDifference, Turning, Worth
from reports.wording.grammar import capital, counted, in_words, listed, plural
from reports.wording.names import printable, treatment_names, unit_word
from reports.wording.numbers import number, round_span, step_for
from trials.measures import grams
from trials.trial import Trial

__all__ = ["best_lines", "in_money", "money_notes", "say_money", "value_title"]

_CENT = 0.01


def say_money(value: float, step: float, currency: str) -> str:
    """Say an amount of money without its sign.

    Parameters
    ----------
    value : float
    step : float
        What it is rounded to.
    currency : str
        As printed behind the amount; may be empty.

    Examples
    --------
    >>> say_money(1.2167, 0.1, "EUR"), say_money(-121.4, 10, "")
    ('1.20 EUR', '120')
    """
    told = number(abs(value), step) if step >= 1 else f"{round(abs(value) / step) * step:.2f}"
    return f"{told} {printable(currency)}".strip()


def _range(span: Span, currency: str) -> tuple[str, str, str, float]:
    """Give value and limits as said, and how the signs lie: 1, -1 or 0 where open."""
    rounded = round_span(span.value, span.low, span.high, finest=_CENT, marks=(0.0,))
    value, low, high = (
        say_money(one, rounded.step, currency) for one in (rounded.value, rounded.low, rounded.high)
    )
    side = 1.0 if span.low > 0 else -1.0 if span.high < 0 else 0.0
    return value, low, high, side


def _more(span: Span, currency: str) -> str:
    """Say a difference with its range: about 1.20 EUR more (between 0.26 and 2.18 EUR)."""
    value, low, high, side = _range(span, currency)
    if not (math.isfinite(span.low) and math.isfinite(span.high)):
        return f"about {value} {'more' if span.value >= 0 else 'less'}"
    if side > 0:
        return f"about {value} more (between {low} and {high})"
    if side < 0:
        return f"about {value} less (between {high} and {low})"
    return f"anything from {low} less to {high} more"


def in_money(analysis: Analysis) -> tuple[str, ...]:
    """Say what each treatment is worth against the control, per unit, hundred and shelf-week.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    tuple of str
        Empty without a price.
    """
    if analysis.worth is None:
        return ()
    return tuple(_difference(one, analysis) for one in analysis.worth.differences)


def _difference(one: MoneyDifference, analysis: Analysis) -> str:
    trial = analysis.records.trial
    names, unit, currency = treatment_names(trial), unit_word(trial), trial.costs.currency
    it, control = names[one.treatment], names[one.control]
    price = _price(trial.costs.price_per_kg or 0.0, trial)
    hundred = Span(
        value=100 * one.per_unit.value, low=100 * one.per_unit.low, high=100 * one.per_unit.high,
        unit=one.per_unit.unit,
    )  # fmt: skip
    told = (
        f"At {price}, a {unit} with {it} brings {_more(one.per_unit, currency)} than "
        f"one with {control}; a hundred {plural(unit)}, {_more(hundred, currency)}."
    )
    if one.per_unit.low > 0:
        least, most = (_range(one.per_unit, currency)[place] for place in (1, 2))
        told += (
            f" That is before what {it} costs: the gain is gone when a {unit} with it costs "
            f"between {least} and {most} more to make."
        )
    if one.per_week is not None:
        # Another model than that of the yield: “that is” would claim that they are one number.
        told += (
            " Worked out flush by flush, both picked as often as here, a place on the shelf "
            f"brings {_more(one.per_week, currency)} a week."
        )
    return told


def _price(per_kg: float, trial: Trial) -> str:
    """Write a price of mushrooms; in pounds too for a scale that shows ounces."""
    currency = trial.costs.currency
    told = f"{say_money(per_kg, _CENT, currency)} a kilogram"
    if trial.weights in ("oz", "lb"):
        pound = grams(1.0, "lb") / 1000 * per_kg
        told += f" ({say_money(pound, _CENT, currency)} a pound)"
    return told


def best_lines(analysis: Analysis) -> tuple[str, ...]:
    """Say for each treatment how many flushes pay best, how sure that is, and what errs.

    Parameters
    ----------
    analysis : Analysis
    """
    worth = analysis.worth
    if worth is None:
        return ()
    names = treatment_names(analysis.records.trial)
    return tuple(f"{names[one.treatment]}: {_best(one, analysis, worth)}" for one in worth.best)


def _flushes(count: int) -> str:
    return f"{in_words(count)} flush{'es' if count != 1 else ''}"


def _best(one: BestFlushes, analysis: Analysis, worth: Worth) -> str:
    currency, unit = worth.currency, unit_word(analysis.records.trial)
    value, low, high, _ = _range(one.per_week, currency)
    lost = one.per_week.value < 0
    each = f"about {value} for each place and week"
    if math.isfinite(one.per_week.low) and one.per_week.low > 0:
        each += f" (between {low} and {high})"
    verb = "lose least" if lost else "pay best"
    if one.flushes == 1:
        verb = "loses least" if lost else "pays best"
    parts = [
        f"{_flushes(one.flushes)} {verb}, {each}, the cost of the {unit} "
        f"{'included' if lost else 'taken off'}."
    ]
    if math.isfinite(one.sure):
        parts.append(_how_sure(one))
    parts.append(_wrong(one, currency))
    if one.foretold:
        parts.append("That goes beyond what was picked and rests on the fall going on as before.")
    parts += [_turning(turn, one, analysis) for turn in one.turnings]
    return " ".join(part for part in parts if part)


def _how_sure(one: BestFlushes) -> str:
    times = round(100 * one.sure)
    others = [n for n, share in one.others if n != one.flushes and round(100 * share) >= 1]
    if times >= 100 or not others:
        return "So it came out in all but a few of the simulated repeats of this trial."
    rest = listed((in_words(n) for n in others), last="or")
    return (
        f"So it came out in {times} of 100 simulated repeats of this trial; in the others it was "
        f"{rest}."
    )


def _wrong(one: BestFlushes, currency: str) -> str:
    """Say how much less one flush fewer or more would bring."""
    near = {n: loss for n, loss in one.wrong if abs(n - one.flushes) == 1}
    said = []
    for n, loss in sorted(near.items()):
        step = max(step_for(loss), _CENT)
        amount = f"about {say_money(loss, min(step, 1.0), currency)} a week less"
        if loss < _CENT / 2:
            amount = "hardly less"
        said.append(f"{_flushes(n)} would bring {amount}")
    return f"{capital(listed(said))}." if said else ""


def _turning(turn: Turning, one: BestFlushes, analysis: Analysis) -> str:
    trial = analysis.records.trial
    costs, unit = trial.costs, unit_word(trial)
    cost = say_money(turn.cost_per_unit, _CENT, costs.currency)
    below = turn.price_per_kg <= (costs.price_per_kg or 0.0)
    sides = ("Below", "above") if below else ("Above", "below")
    verb = "does" if turn.flushes == 1 else "do"
    return (
        f"{sides[0]} {_price(turn.price_per_kg, trial)}, or {sides[1]} {cost} a {unit}, "
        f"{_flushes(turn.flushes)} {verb} better than {in_words(one.flushes)}."
    )


def value_title(analysis: Analysis) -> str:
    """Say in one sentence how many flushes pay best.

    Parameters
    ----------
    analysis : Analysis
        With its worth.
    """
    worth, names = analysis.worth, treatment_names(analysis.records.trial)
    if worth is None or not worth.best:
        return "What a flush is worth cannot be said."
    counts = {one.flushes for one in worth.best}
    if len(counts) == 1:
        count = counts.pop()
        verb = "pays" if count == 1 else "pay"
        return f"Best guess: with each treatment, {_flushes(count)} {verb} best."
    said = listed(f"{_flushes(one.flushes)} with {names[one.treatment]}" for one in worth.best)
    return f"Best guess of what pays best: {said}."


def money_notes(analysis: Analysis) -> str:
    """Say what the sums take for granted.

    Parameters
    ----------
    analysis : Analysis
    """
    trial = analysis.records.trial
    costs, unit = trial.costs, unit_word(trial)
    first = counted(round(costs.shelf_days_to_first or 0), "day")
    later = counted(round(costs.shelf_days_per_flush or 0), "day")
    return (
        f"The sums take it that a {unit} stands {first} to its first flush and {later} for each "
        f"later one, that a new {unit} is always ready, that a {unit} thrown out frees its place "
        "by the next flush, and that picking costs nothing. Every treatment is taken to cost "
        f"{say_money(costs.cost_per_bag or 0.0, _CENT, costs.currency)} a {unit}."
    )
