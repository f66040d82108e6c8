"""Combined treatments: what each factor does by itself, and whether one depends on another."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from analyses.comparison import DF_METHOD, Comparison, Sample, model_numbers
from analyses.layouts.rerandomised import responses
from analyses.model_numbers import ModelNumbers
from analyses.models.linear.arrays import FitError
from analyses.models.mixed import MixedFit, fit_mixed
from analyses.yields import STARTED
from trials.factors import is_crossed
from trials.records import Records

__all__ = ["FactorAnswer", "FactorEffect", "factor_answer", "factor_effects"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FactorEffect:
    """A difference between levels of a factor, or how much it changes with another factor.

    Parameters
    ----------
    factors : tuple of str
        One for a main effect, two for an interaction.
    levels, against : tuple of str
        The levels compared and those they are compared with, one a factor.
    value, low, high : float
        Main effect: mean over the other factors' levels, `levels` less `against`. Interaction: the
        difference at the second factor's level less that at the level it is compared with.
    confidence : float
        Of each interval by itself.
    p, df : float
        Two-sided, with Kenward-Roger degrees of freedom.
    unit : str
        Unit of the response, such as ``g``.
    unit_counted : str
        ``batch`` for a main effect of the batch factor of a split plot; otherwise what the sample
        counts.
    units : int
        How many of them it rests on.
    p_rerandomised : float or None
        From dealing the factor out again where it was dealt out; None where that was not done.
    at : tuple of str
        Another factor and its level, where the difference is told for that level only.
    """

    factors: tuple[str, ...]
    levels: tuple[str, ...]
    against: tuple[str, ...]
    value: float
    low: float
    high: float
    confidence: float
    p: float
    df: float
    unit: str
    unit_counted: str
    units: int
    p_rerandomised: float | None = None
    at: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class FactorAnswer:
    """The effects of all factors, and the model behind them.

    Parameters
    ----------
    effects : tuple of FactorEffect
        Main effects first, then interactions of two factors, then differences at each level of
        another factor; none where they cannot be told.
    model : ModelNumbers or None
        With a test for each factor and each interaction.
    """

    effects: tuple[FactorEffect, ...] = ()
    model: ModelNumbers | None = None


def factor_answer(records: Records, answer: Comparison, *, level: float) -> FactorAnswer:
    """Tell the factors of a trial apart, where its treatments are all their combinations.

    Parameters
    ----------
    records : Records
    answer : Comparison
        The comparison of the treatments; its rows and random terms are used.
    level : float
        Confidence.

    Returns
    -------
    FactorAnswer
        Empty where the treatments are not crossed or the rows do not suffice.

    Notes
    -----
    Main effects average over the other factors with equal weights (Yates 1935, J. R. Stat. Soc.
    Suppl. 2, 181-247).
    """
    trial, sample = records.trial, answer.sample
    if sample is None or answer.fit is None or not is_crossed(trial.treatments):
        return FactorAnswer()
    columns = {name: f"factor{number}" for number, name in enumerate(trial.factors, start=1)}
    frame = sample.frame.copy()
    for name, column in columns.items():
        of_code = {one.code: one.level(name) for one in trial.treatments}
        levels = frame["treatment"].map(of_code)
        frame[column] = pd.Categorical(levels, trial.levels(name), ordered=True)
    try:
        fit = fit_mixed(frame, "response", " * ".join(columns.values()), list(sample.random))
    except FitError:
        return FactorAnswer()
    effects = [
        *_main_effects(fit, records, sample, columns, level),
        *_interactions(fit, records, sample, columns, level),
        *_at_each_level(fit, records, sample, columns, level),
    ]
    told = tuple(one for one in effects if math.isfinite(one.value + one.low + one.high))
    return FactorAnswer(effects=told, model=_named(model_numbers(fit, sample), columns))


def _main_effects(
    fit: MixedFit, records: Records, sample: Sample, columns: dict[str, str], level: float
) -> list[FactorEffect]:
    found = []
    for name, column in columns.items():
        first, *others = records.trial.levels(name)
        table = fit.contrasts(column, control=first, df=DF_METHOD, confidence=level)
        for other, (_, row) in zip(others, table.iterrows(), strict=True):
            found.append(
                _effect(
                    row.to_dict(), sample, level,
                    factors=(name,), levels=(other,), against=(first,),
                    counted=_counted(records, sample, name),
                    again=_dealt_again(records, sample, name, other, first),
                )
            )  # fmt: skip
    return found


def _interactions(
    fit: MixedFit, records: Records, sample: Sample, columns: dict[str, str], level: float
) -> list[FactorEffect]:
    """Give differences of differences against the control's levels, two factors at a time."""
    trial, found = records.trial, []
    for one, other in itertools.combinations(columns, 2):
        (first, *rest), (base, *more) = trial.levels(one), trial.levels(other)
        cells = list(itertools.product((first, *rest), (base, *more)))
        wanted = list(itertools.product(rest, more))
        weights = {
            f"{a}, {b}": [_sign(cell, (a, first), (b, base)) for cell in cells] for a, b in wanted
        }
        rows = _cell_contrasts(fit, (columns[one], columns[other]), weights, level)
        for (a, b), row in zip(wanted, rows, strict=True):
            found.append(
                _effect(
                    row, sample, level, factors=(one, other), levels=(a, b), against=(first, base),
                    counted=sample.counted, again=None,
                )
            )  # fmt: skip
    return found


def _at_each_level(
    fit: MixedFit, records: Records, sample: Sample, columns: dict[str, str], level: float
) -> list[FactorEffect]:
    """Give the differences of one factor at each level of another, averaged over any third."""
    trial, found = records.trial, []
    for one, other in itertools.permutations(columns, 2):
        first, *rest = trial.levels(one)
        cells = list(itertools.product((first, *rest), trial.levels(other)))
        wanted = list(itertools.product(rest, trial.levels(other)))
        weights = {
            f"{a}, {b}": [float(cell == (a, b)) - float(cell == (first, b)) for cell in cells]
            for a, b in wanted
        }
        rows = _cell_contrasts(fit, (columns[one], columns[other]), weights, level)
        for (a, b), row in zip(wanted, rows, strict=True):
            effect = _effect(
                row, sample, level, factors=(one,), levels=(a,), against=(first,),
                counted=_counted(records, sample, one), again=None,
            )  # fmt: skip
            found.append(replace(effect, at=(other, b)))
    return found


def _cell_contrasts(
    fit: MixedFit, pair: tuple[str, str], weights: dict[str, list[float]], level: float
) -> list[dict[Any, Any]]:
    """Weigh the means of all cells of two factors."""
    from analyses.models.contrasts import infer

    grid = [fit.basis.factors[column].levels for column in pair]
    cells = list(itertools.product(*grid))
    at = {column: [cell[place] for cell in cells] for place, column in enumerate(pair)}
    rows = np.asarray(list(weights.values())) @ np.asarray(fit.basis.rows(at))
    family = infer(fit, rows, list(weights), df=DF_METHOD, confidence=level).frame()
    return [dict(row) for row in family.to_dict("records")]


def _sign(cell: tuple[str, str], one: tuple[str, str], other: tuple[str, str]) -> float:
    sides = [(level == pair[0]) - (level == pair[1])
             for level, pair in zip(cell, (one, other), strict=True)]  # fmt: skip
    return float(sides[0] * sides[1])


def _effect(
    row: Mapping[Any, Any], sample: Sample, level: float, *, factors: tuple[str, ...],
    levels: tuple[str, ...], against: tuple[str, ...], counted: str, again: float | None,
) -> FactorEffect:  # fmt: skip
    return FactorEffect(
        factors=factors, levels=levels, against=against, value=float(row["estimate"]),
        low=float(row["low"]), high=float(row["high"]), confidence=level, p=float(row["p"]),
        df=float(row["df"]), unit=sample.unit, unit_counted=counted,
        units=_units(sample, counted), p_rerandomised=again,
    )  # fmt: skip


def _counted(records: Records, sample: Sample, name: str) -> str:
    return "batch" if name == records.trial.design.batch_factor else sample.counted


def _units(sample: Sample, counted: str) -> int:
    if counted in ("batch", "grower"):
        return int(sample.frame[counted].nunique())
    return len(sample.frame)


def _dealt_again(
    records: Records, sample: Sample, name: str, level: str, against: str
) -> float | None:
    """Deal a factor of a split plot out again where it was dealt out, the other left in place."""
    from analyses.models.layouts.rerandomise_designs import rerandomise_split_plot

    trial, bags = records.trial, records.bags
    if not trial.design.batch_factor:
        return None
    own = {one.code: one.level(name) for one in trial.treatments}
    rest = {
        one.code: repr([pair for pair in one.factors if pair[0] != name])
        for one in trial.treatments
    }
    try:
        return rerandomise_split_plot(
            bags["treatment"].map(own).to_numpy(dtype=str),
            bags["treatment"].map(rest).to_numpy(dtype=str),
            bags["batch"].to_numpy(), responses(records, sample), blocks=bags["block"].to_numpy(),
            treated=level, control=against, generator=np.random.default_rng(records.layout.seed),
        ).p  # fmt: skip
    except ValueError:
        return None


def factor_effects(
    records: Records, answers: Iterable[Comparison], *, level: float
) -> FactorAnswer:
    """Tell the factors apart in the yield per bag started.

    Parameters
    ----------
    records : Records
    answers : iterable of Comparison
        All that was compared.
    level : float
        Confidence.

    Returns
    -------
    FactorAnswer
        Empty where there are no factors, or no yield.
    """
    for answer in answers:
        sample = answer.sample
        if sample and sample.outcome == "yield" and sample.estimand == STARTED:
            return factor_answer(records, answer, level=level)
    return FactorAnswer()


def _named(model: ModelNumbers, columns: dict[str, str]) -> ModelNumbers:
    """Put the grower's names of the factors back."""

    def named(text: str) -> str:
        for name, column in columns.items():
            text = text.replace(column, name)
        return text

    return replace(
        model,
        about=f"{model.about}, factor by factor",
        formula=model.formula.replace("~ treatment", f"~ {' * '.join(columns)}"),
        tests=tuple(
            (named(term), num, den, f, p)
            for term, num, den, f, p in model.tests
            if any(column in term for column in columns.values())
        ),
        notes=tuple(named(note) for note in model.notes),
    )
