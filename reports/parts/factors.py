"""The factors of combined treatments on the page: sentences and a small table."""

from __future__ import annotations

from analyses.analysis import Analysis
from analyses.layouts.factorial import FactorEffect
from reports.parts.blocks import Block, Bullets, Paragraph, Table
from reports.wording.factor_words import factor_intro, factor_lines, level_name, on_factor
from reports.wording.grammar import capital, counted
from reports.wording.names import unit_word
from reports.wording.numbers import measure, number, round_span
from trials.trial import Trial

__all__ = ["factor_blocks", "factor_table"]


def factor_blocks(analysis: Analysis) -> tuple[Block, ...]:
    """Tell what each factor does by itself, and whether one depends on another.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    tuple of Block
        None where the treatments are no combinations.
    """
    effects, trial = analysis.factor_effects, analysis.records.trial
    if not effects:
        return ()
    return (
        Paragraph(text=factor_intro(trial)),
        Bullets(items=factor_lines(effects, trial)),
        factor_table(effects, trial),
    )


def factor_table(effects: tuple[FactorEffect, ...], trial: Trial) -> Table:
    """Give differences of the factors in numbers; those at single levels only for two factors.

    Parameters
    ----------
    effects : tuple of FactorEffect
    trial : Trial
    """
    unit = measure(effects[0].unit, trial.weights)
    shown = [one for one in effects if not one.at or len(trial.factors) == 2]
    return Table(
        caption=f"Factor by factor, {unit.word} per {unit_word(trial)} started; each range by "
        "itself",
        columns=("Compared", "Difference", "Range that fits", "Rests on"),
        rows=tuple(_row(one, trial) for one in shown),
        numeric=(False, True, True, True),
    )


def _row(effect: FactorEffect, trial: Trial) -> tuple[str, ...]:
    unit = measure(effect.unit, trial.weights)
    value, low, high = (one / unit.per for one in (effect.value, effect.low, effect.high))
    told = round_span(value, low, high, finest=unit.finest, marks=(0.0,))
    low_text, high_text = (number(one, told.step) for one in (told.low, told.high))
    return (
        _compared(effect, trial),
        number(told.value, told.step),
        f"{low_text} to {high_text}",
        counted(effect.units, effect.unit_counted),
    )


def _compared(effect: FactorEffect, trial: Trial) -> str:
    first = f"{level_name(effect.levels[0])} less {level_name(effect.against[0])}"
    if len(effect.factors) == 2:
        there, here = level_name(effect.levels[1]), level_name(effect.against[1])
        return f"({first}) with {there}, less the same with {here}"
    return capital(f"{level_name(effect.factors[0])}: {first}, {on_factor(effect, trial)}")
