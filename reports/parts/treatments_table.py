"""Each treatment's numbers, as tables."""

from __future__ import annotations

import math
from collections.abc import Sequence

from analyses.analysis import Analysis
from analyses.finding import Mean
from analyses.flush.table import FlushRow
from reports.parts.blocks import Table
from reports.wording.grammar import capital, plural
from reports.wording.names import estimand_words, treatment_names, unit_word
from reports.wording.numbers import Measure, mean_step, measure, number, percentage, step_for

__all__ = ["flushes_table", "losses_table", "means_tables"]

_NOTHING = "–"


def means_tables(analysis: Analysis) -> tuple[Table, ...]:
    """Give a table of means for each estimand.

    Parameters
    ----------
    analysis : Analysis
        With its means.

    Returns
    -------
    tuple of Table
        Weights, and biological efficiency beside them where it is known.
    """
    kinds = dict.fromkeys(mean.estimand for mean in analysis.means if mean.unit == "g")
    return tuple(_means_table(analysis, kind) for kind in kinds)


def losses_table(analysis: Analysis) -> Table:
    """Give what became of the units of each treatment.

    Parameters
    ----------
    analysis : Analysis
        With its flow.
    """
    names = treatment_names(analysis.records.trial)
    fields = (
        ("made", "made"), ("fruited", "fruited and lasted"), ("gave_nothing", "gave nothing"),
        ("contaminated", "contaminated"), ("lost_otherwise", "lost otherwise"),
        ("still_going", "still going"), ("not_recorded", "not recorded"),
        ("incomplete", "total unknown"),
    )  # fmt: skip
    used = [
        (field, words)
        for field, words in fields
        if field in ("made", "contaminated") or any(getattr(step, field) for step in analysis.flow)
    ]
    return Table(
        caption=f"What became of the {plural(unit_word(analysis.records.trial))}",
        columns=("Treatment", *(words.capitalize() for _, words in used)),
        rows=tuple(
            (names[step.treatment], *(str(getattr(step, field)) for field, _ in used))
            for step in analysis.flow
        ),
        numeric=(False, *(True for _ in used)),
    )


def flushes_table(analysis: Analysis) -> Table | None:
    """Give the mean of each flush, its share and what was kept of the one before.

    Parameters
    ----------
    analysis : Analysis
        With its table of flushes.

    Returns
    -------
    Table or None
        None where nothing was weighed.
    """
    trial = analysis.records.trial
    names, unit = treatment_names(trial), measure("g", trial.weights)
    weighed = [row for row in analysis.flush_rows if row.bags]
    if not weighed:
        return None
    step = _flush_step(weighed, unit)
    rows = [_flush_row(row, names[row.treatment], unit, step) for row in weighed]
    word = unit_word(trial)
    return Table(
        caption=f"Fresh weight by flush, {unit.word} per {word} weighed",
        columns=("Treatment", "Flush", plural(word).capitalize(), "Mean", "Spread (SD)",
                 "Share of all", "Of the flush before"),
        rows=tuple(rows),
        numeric=(False, True, True, True, True, True, True),
    )  # fmt: skip


def _means_table(analysis: Analysis, estimand: str) -> Table:
    trial = analysis.records.trial
    unit, names, word = measure("g", trial.weights), treatment_names(trial), unit_word(trial)
    mine = [mean for mean in analysis.means if mean.estimand == estimand]
    efficient = any("efficiency" in mean.unit and math.isfinite(mean.value) for mean in mine)
    columns = ["Treatment", plural(word).capitalize(), f"Mean, {unit.word}",
               f"Range that fits, {unit.word}", f"Spread (SD), {unit.word}"]  # fmt: skip
    columns += ["Biological efficiency"] if efficient else []
    rows = tuple(
        _mean_row(
            [mean for mean in mine if mean.treatment == one.code], names[one.code], unit, efficient
        )
        for one in trial.treatments
    )
    return Table(
        caption=capital(estimand_words(estimand, trial)), columns=tuple(columns), rows=rows,
        numeric=(False, *(True for _ in columns[1:])),
    )  # fmt: skip


def _mean_row(means: Sequence[Mean], name: str, unit: Measure, efficient: bool) -> tuple[str, ...]:
    weight = next((mean for mean in means if mean.unit == "g"), None)
    cells = [name]
    if weight is None:
        cells += [_NOTHING] * 4
    else:
        per = unit.per
        step = mean_step(weight.value, weight.low, weight.high, unit)
        mean, spread = (number(one / per, step) for one in (weight.value, weight.sd))
        cells += [str(weight.n), mean, _range(weight, per, step), spread]
    if efficient:
        share = next((mean for mean in means if "efficiency" in mean.unit), None)
        cells.append(_efficiency(share))
    return tuple(cells)


def _range(mean: Mean, per: float, step: float) -> str:
    if not (math.isfinite(mean.low) and math.isfinite(mean.high)):
        return _NOTHING
    return f"{number(mean.low / per, step)} to {number(mean.high / per, step)}"


def _efficiency(mean: Mean | None) -> str:
    if mean is None or not math.isfinite(mean.value):
        return _NOTHING
    return percentage(mean.value, (mean.high - mean.low) / 2)


def _flush_row(row: FlushRow, name: str, unit: Measure, step: float) -> tuple[str, ...]:
    return (
        name,
        str(row.flush),
        str(row.bags),
        number(row.mean_g / unit.per, step),
        number(row.sd_g / unit.per, step),
        _hundredth(row.share),
        _hundredth(row.kept),
    )


def _flush_step(rows: Sequence[FlushRow], unit: Measure) -> float:
    """One step for a column: two figures of the widest standard error, or three of the mean."""
    errors = [
        row.sd_g / math.sqrt(row.bags) / unit.per for row in rows if row.bags > 1 and row.sd_g > 0
    ]
    wide = max(errors, default=max(abs(row.mean_g) for row in rows) / 10 / unit.per)
    return step_for(wide, finest=unit.finest)


def _hundredth(share: float) -> str:
    return percentage(100 * share) if math.isfinite(share) else _NOTHING
