"""What contamination does to yield: per unit started beside per unit that fruited."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analyses.analysis import Analysis
from analyses.finding import Mean
from reports.figures.look import Frame, marker, paint, series, tint
from reports.figures.rows import Row, lay_rows, rows_height, rule_lanes
from reports.parts.blocks import Figure
from reports.wording.grammar import listed
from reports.wording.names import treatment_names, unit_word
from reports.wording.numbers import Measure, mean_step, measure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_two_ways"]

_LANE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pair:
    """One treatment's mean per unit started and per unit that fruited."""

    index: int
    name: str
    started: Mean
    fruited: Mean


def figure_two_ways(analysis: Analysis) -> Figure | None:
    """Show how much of the yield losses took, treatment by treatment.

    Parameters
    ----------
    analysis : Analysis
        With its means.

    Returns
    -------
    Figure or None
        None where a mean is missing or nothing was lost.
    """
    pairs = _pairs(analysis)
    if not pairs or not any(loss.lost for loss in analysis.losses):
        return None
    trial = analysis.records.trial
    unit, word = measure("g", trial.weights), unit_word(trial)
    rows = [Row(name=pair.name, note=_note(pair, unit, word), lane=_LANE) for pair in pairs]
    frame = Frame(
        name="two-ways", title=_title(pairs, unit, word), height=rows_height(rows),
        alt=f"Mean weight per {word} that fruited and per {word} started, a row a treatment. "
        + " ".join(f"{row.name}: {row.note}." for row in rows),
        caption=f"Hollow mark above: per {word} that fruited. Full mark below: per {word} "
        "started, lost ones counted as what they gave. Thin lines are what fits each; the grey "
        "stretch between the marks is what losses and empty ones took.",
    )  # fmt: skip

    def draw(sheet: Sheet, share: float) -> None:
        axes, lanes = lay_rows(sheet, share, rows)
        for pair, (middle, height) in zip(pairs, lanes, strict=True):
            _draw(axes, pair, unit.per, middle, height)
        axes.set_xlim(left=0)
        rule_lanes(axes, lanes)
        axes.set_xlabel(f"mean fresh weight per {word}, {unit.word}")

    return paint(frame, draw)


def _pairs(analysis: Analysis) -> list[_Pair]:
    names = treatment_names(analysis.records.trial)
    means = {
        (mean.treatment, "fruited" in mean.estimand): mean
        for mean in analysis.means
        if mean.unit == "g" and math.isfinite(mean.value)
    }
    return [
        _Pair(
            index=index, name=names[one.code], started=means[one.code, False],
            fruited=means[one.code, True],
        )
        for index, one in enumerate(analysis.records.trial.treatments)
        if (one.code, False) in means and (one.code, True) in means
    ]  # fmt: skip


def _shown(mean: Mean, unit: Measure) -> tuple[float, float]:
    """Give a mean as the tables show it, and the step to which it is rounded."""
    step = mean_step(mean.value, mean.low, mean.high, unit)
    return math.floor(mean.value / unit.per / step + 0.5) * step, step


def _took(pair: _Pair, unit: Measure) -> str:
    """Give the difference of the two means as they are shown, so that a reader finds it again."""
    (fruited, one), (started, other) = (_shown(mean, unit) for mean in (pair.fruited, pair.started))
    return unit.say(max(0.0, fruited - started), min(one, other))


def _note(pair: _Pair, unit: Measure, word: str) -> str:
    fruited, started = (unit.say(*_shown(mean, unit)) for mean in (pair.fruited, pair.started))
    return f"{fruited} per {word} that fruited, {started} per {word} started"


def _title(pairs: list[_Pair], unit: Measure, word: str) -> str:
    said = listed(f"{_took(pair, unit)} with {pair.name}" for pair in pairs)
    return f"What was lost or stayed empty took, per {word} started, {said}."


def _draw(axes: Axes, pair: _Pair, per: float, middle: float, height: float) -> None:
    colour = series(pair.index)
    above, below = middle - height / 4, middle + height / 4
    axes.fill_betweenx(
        [above, below], pair.started.value / per, pair.fruited.value / per,
        color=tint("rule"), lw=0, zorder=0.5,
    )  # fmt: skip
    for mean, y, full in ((pair.fruited, above, False), (pair.started, below, True)):
        if math.isfinite(mean.low + mean.high):
            ends = [max(0.0, mean.low) / per, mean.high / per]
            axes.plot(ends, [y, y], color=colour, lw=1.6, alpha=0.6, zorder=2)
        axes.plot(
            [mean.value / per], [y], marker=marker(pair.index), color=colour, ms=8, zorder=3,
            markerfacecolor=colour if full else tint("paper"), markeredgewidth=1.5,
        )  # fmt: skip
