"""What a place on the shelf earns a day: each flush, and the long-run average that it must beat."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from analyses.analysis import Analysis
from analyses.flush.worth_story import BestFlushes, FlushValue, Worth
from reports.figures.axes import rule_levels, strip_frame
from reports.figures.look import WIDTH, Frame, marker, paint, series, tint
from reports.figures.wrapping import wrapped
from reports.parts.blocks import Figure
from reports.wording.grammar import listed
from reports.wording.money import say_money, value_title
from reports.wording.names import printable, treatment_names, unit_word

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_value"]

_PANEL, _HEAD, _FOOT, _LEFT = 1.6, 0.56, 0.5, 0.7
_NO_TICKS_ABOVE = 0.26
"""Room that a panel's head keeps for the ticks of the one above, which the first has not."""


def figure_value(analysis: Analysis) -> Figure | None:
    """Show what each flush brings for each day that it takes, beside the best long-run average.

    Parameters
    ----------
    analysis : Analysis
        With its worth.

    Returns
    -------
    Figure or None
        None where the plan names no price, cost or days.
    """
    worth = analysis.worth
    if worth is None or not worth.best:
        return None
    trial = analysis.records.trial
    names, unit = treatment_names(trial), unit_word(trial)
    order = [one.code for one in trial.treatments]
    per = f"{printable(worth.currency) or 'money'} a week and place"
    frame = Frame(
        name="value-by-flush", title=value_title(analysis),
        height=len(worth.best) * (_PANEL + _HEAD) + _FOOT - _NO_TICKS_ABOVE,
        alt=f"What each flush brings for the shelf time that it takes, in {per}. "
        + " ".join(_said(one, worth, names[one.treatment]) for one in worth.best),
        caption=f"Marks are what a flush brings in a week of the place that it takes up, with the "
        f"range that fits; hollow ones were not picked but foretold. While the next mark stands "
        f"above the dashed line, which is what a place earns in the long run at best, keep the "
        f"{unit}; when it falls below, a new {unit} earns more.",
    )  # fmt: skip

    def draw(sheet: Sheet, share: float) -> None:
        whole = frame.height / share
        top = max(_limit(value) for value in worth.values)
        for place, best in enumerate(worth.best):
            bottom = _FOOT + (len(worth.best) - 1 - place) * (_PANEL + _HEAD)
            axes = sheet.add_axes(
                (_LEFT / WIDTH, bottom / whole, (WIDTH - _LEFT - 0.15) / WIDTH, _PANEL / whole)
            )
            _dress(axes, names[best.treatment], 7 * 1.08 * top)
            _draw(axes, worth, best, order.index(best.treatment))
            axes.set_ylabel(per if len(per) < 24 else "a week and place", size=8.5)
        axes.set_xlabel("flush")

    return paint(frame, draw)


def _limit(value: FlushValue) -> float:
    return value.per_day.high if math.isfinite(value.per_day.high) else value.per_day.value


def _said(best: BestFlushes, worth: Worth, name: str) -> str:
    each = listed(
        f"flush {one.flush} {say_money(7 * one.per_day.value, 0.01, worth.currency)}"
        for one in worth.values if one.treatment == best.treatment
    )  # fmt: skip
    line = say_money(best.per_week.value, 0.01, worth.currency)
    sign = "minus " if best.per_week.value < 0 else ""
    return f"{name}: {each}; in the long run at best {sign}{line}, with {best.flushes} flushes."


def _dress(axes: Axes, name: str, top: float) -> None:
    strip_frame(axes)
    rule_levels(axes)
    axes.set_ylim(-0.04 * top, top)
    lines = wrapped(name, WIDTH - _LEFT - 0.2, 9.5, bold=True, most=1)
    axes.set_title("\n".join(lines), loc="left", size=9.5, weight="bold", pad=5)


def _draw(axes: Axes, worth: Worth, best: BestFlushes, index: int) -> None:
    mine = [one for one in worth.values if one.treatment == best.treatment]
    line = best.per_week.value
    if line > 0:
        axes.axhline(line, color=tint("ink"), lw=1.2, ls=(0, (4, 2)))
    axes.axvline(best.flushes + 0.5, color=tint("muted"), lw=0.8, ls=":")
    for one in mine:
        low, high = (7 * end for end in (one.per_day.low, one.per_day.high))
        if math.isfinite(low + high):
            axes.plot([one.flush] * 2, [low, high], color=series(index), lw=1.6)
        axes.plot(
            [one.flush], [7 * one.per_day.value], marker=marker(index), ms=8, color=series(index),
            markerfacecolor=tint("paper") if one.foretold else series(index),
            markeredgecolor=series(index), markeredgewidth=1.4,
        )  # fmt: skip
    axes.set_xticks([one.flush for one in mine])
    axes.set_xlim(0.5, len(mine) + 0.5)
