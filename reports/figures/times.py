"""Share of the units that had come to a stage, by day: one step line a treatment."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from analyses.analysis import Analysis
from analyses.times.stage_times import StageTimes, TimeCurve
from reports.figures.axes import rule_levels, strip_frame
from reports.figures.look import WIDTH, Frame, marker, paint, series, tint
from reports.parts.blocks import Figure
from reports.wording.grammar import plural
from reports.wording.names import treatment_names, unit_word
from reports.wording.time_words import stage_said, stage_title

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_times"]

_PANEL, _FOOT, _HEAD, _LEFT = 1.45, 0.48, 0.52, 0.58
_STYLES = ("solid", (0, (5, 1.2)), (0, (2, 1)), (0, (5, 1, 1.5, 1)))
_NO_TICKS_ABOVE = 0.24
"""Room that a panel's head keeps for the ticks of the one above, which the first has not."""


def figure_times(analysis: Analysis) -> Figure | None:
    """Show by which day the units had come to each stage.

    Parameters
    ----------
    analysis : Analysis
        With its times.

    Returns
    -------
    Figure or None
        None where no days were written.
    """
    told = [one for one in analysis.times if any(curve.right for curve in one.curves)]
    if not told:
        return None
    names, units = (
        treatment_names(analysis.records.trial), plural(unit_word(analysis.records.trial))
    )  # fmt: skip
    said = [stage_said(one, analysis) for one in told]
    key = 0.2 * len(names)
    frame = Frame(
        name="times",
        title=stage_title(told[0], analysis) or f"Days until the {units} came to each stage",
        height=len(told) * (_PANEL + _HEAD) + _FOOT + key - _NO_TICKS_ABOVE,
        alt=f"Share of the {units} that had come to each stage, by days since spawning. "
        + " ".join(said),
        caption="A slanting line is a stretch between two looks in which it happened; nobody saw "
        "when." if not all(_exact(one) for one in told)
        else f"The line climbs on each day on which some {units} had come so far.",
    )  # fmt: skip

    def draw(sheet: Sheet, share: float) -> None:
        whole = frame.height / share
        last = max(end for one in told for curve in one.curves for end in _ends(curve))
        for place, one in enumerate(told):
            bottom = _FOOT + key + (len(told) - 1 - place) * (_PANEL + _HEAD)
            axes = sheet.add_axes(
                (_LEFT / WIDTH, bottom / whole, (WIDTH - _LEFT - 0.15) / WIDTH, _PANEL / whole)
            )
            _dress(axes, one, last)
            for index, curve in enumerate(one.curves):
                _draw(axes, curve, index, last)
        axes.set_xlabel("days since spawning")
        _key(sheet, list(names.values()), whole)

    return paint(frame, draw)


def _exact(one: StageTimes) -> bool:
    return all(curve.left == curve.right for curve in one.curves)


def _ends(curve: TimeCurve) -> list[float]:
    return [end for end in (*curve.left, *curve.right) if math.isfinite(end)] or [1.0]


def _dress(axes: Axes, one: StageTimes, last: float) -> None:
    strip_frame(axes)
    rule_levels(axes)
    axes.set_ylim(-3, 103)
    axes.set_yticks([0, 50, 100])
    axes.set_xlim(0, 1.03 * last)
    axes.set_ylabel("per cent")
    axes.set_title(one.stage, loc="left", size=9.5, weight="bold", pad=4)


def _draw(axes: Axes, curve: TimeCurve, index: int, last: float) -> None:
    """Draw level where nothing can have happened and slanting between two looks."""
    x, y, level = [0.0], [0.0], 0.0
    for left, right, reached in zip(curve.left, curve.right, curve.reached, strict=True):
        if not math.isfinite(right):
            break
        x += [left, right]
        y += [100 * level, 100 * reached]
        level = reached
    x.append(max(last, x[-1]))
    y.append(100 * level)
    axes.plot(
        x, y, color=series(index), lw=1.8, ls=_STYLES[index % len(_STYLES)],
        solid_joinstyle="miter", dash_joinstyle="miter",
    )  # fmt: skip
    half = next((place for place, share in enumerate(y) if share >= 50), None)
    if half is not None:
        axes.plot([x[half]], [y[half]], marker=marker(index), color=series(index), ms=7,
                  markeredgecolor=tint("paper"), markeredgewidth=0.8)  # fmt: skip


def _key(sheet: Sheet, names: list[str], whole: float) -> None:
    from matplotlib.lines import Line2D

    handles = [
        Line2D(
            [],
            [],
            color=series(index),
            marker=marker(index),
            lw=1.8,
            ms=6,
            label=name,
            ls=_STYLES[index % len(_STYLES)],
        )
        for index, name in enumerate(names)
    ]
    sheet.legend(
        handles=handles, loc="lower left", frameon=False, fontsize=9, borderaxespad=0.0,
        bbox_to_anchor=(_LEFT / WIDTH, 0.02 / whole),
    )  # fmt: skip
