"""For a statistician: whose leaving out moves the difference in yield most."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyses.analysis import Analysis
from analyses.influence import Influence, LeftOut, left_out
from reports.figures.axes import rule_levels, strip_frame
from reports.figures.look import WIDTH, Frame, marker, paint, series, tint
from reports.figures.wrapping import wrapped
from reports.parts.blocks import Figure
from reports.wording.grammar import capital
from reports.wording.names import printable, treatment_names, unit_word
from reports.wording.numbers import Measure, measure, number, step_for

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_influence"]

_LINE, _FOOT, _LEFT, _MOST_NAMED = 0.23, 0.5, 0.95, 6


def figure_influence(analysis: Analysis) -> Figure | None:
    """Show the difference in yield without each of the units that move it most.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    Figure or None
        For the comparison that is moved most; None where nothing can be compared.
    """
    found = left_out(analysis.records, analysis.unit)
    if found is None or not found.units:
        return None
    place = _most_moved(found)
    whole = found.whole_g[place]
    ranked = sorted(found.units, key=lambda one: -abs(one.differences_g[place] - whole))
    named = ranked[:_MOST_NAMED]
    frame = _frame(analysis, named, place, whole)
    order = [one.code for one in analysis.records.trial.treatments]
    unit = measure("g", analysis.records.trial.weights)

    def draw(sheet: Sheet, share: float) -> None:
        high = frame.height / share
        axes = sheet.add_axes(
            (
                _LEFT / WIDTH, _FOOT / high, (WIDTH - _LEFT - 0.2) / WIDTH,
                _LINE * len(named) / high,
            )
        )  # fmt: skip
        _draw(axes, named, [order.index(one.treatment) for one in named], place, unit.per)
        axes.axvline(whole / unit.per, color=tint("ink"), lw=1.2, zorder=1)
        axes.set_xlabel(f"difference in yield, {unit.word}")

    return paint(frame, draw)


def _most_moved(found: Influence) -> int:
    """Give the place of the comparison that the first unit moves most."""
    shifts = [
        abs(one - other)
        for one, other in zip(found.units[0].differences_g, found.whole_g, strict=True)
    ]
    return shifts.index(max(shifts))


def _frame(analysis: Analysis, named: list[LeftOut], place: int, whole: float) -> Frame:
    trial = analysis.records.trial
    unit, names = measure("g", trial.weights), treatment_names(trial)
    step = step_for(
        max(abs(one.differences_g[place] - whole) for one in named) / unit.per, finest=unit.finest
    )
    pair = f"{names[trial.challengers[place].code]} less {names[trial.control.code]}"
    said = [f"without {_name(one)} {_grams(one.differences_g[place], unit, step)}" for one in named]
    first, counted = named[0], "batch" if analysis.unit.counted == "batch" else unit_word(trial)
    return Frame(
        name="influence",
        title=f"{capital(_name(first))} moves the difference in yield most: without it "
        f"{_grams(first.differences_g[place], unit, step)}, not {_grams(whole, unit, step)}.",
        height=_LINE * len(named) + _FOOT,
        alt=f"Difference in yield, {pair}: {_grams(whole, unit, step)} with all; "
        f"{', '.join(said)}.",
        caption=f"Each mark is the difference per {unit_word(trial)} started, {pair}, when that "
        f"{counted} is left out; the upright line is the difference with all.",
    )


def _name(one: LeftOut) -> str:
    return printable(one.name)


def _grams(value: float, unit: Measure, step: float) -> str:
    return f"{number(value / unit.per, step)} {unit.word}"


def _draw(axes: Axes, named: list[LeftOut], indices: list[int], place: int, per: float) -> None:
    strip_frame(axes)
    rule_levels(axes, "x")
    for line, (one, index) in enumerate(zip(named, indices, strict=True)):
        axes.plot(
            [one.differences_g[place] / per], [line + 0.5], marker=marker(index), ms=7,
            color=series(index), zorder=3, markeredgecolor=tint("paper"), markeredgewidth=0.8,
        )  # fmt: skip
    axes.set_ylim(len(named), 0)
    axes.set_yticks(
        [line + 0.5 for line in range(len(named))],
        [wrapped(_name(one), _LEFT - 0.1, 8.5, most=1)[0] for one in named], size=8.5,
    )  # fmt: skip
