"""Losses over time: the share of each treatment's units lost by each day."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from analyses.analysis import Analysis
from analyses.losses.curves import LossCurve
from reports.figures.axes import rule_levels, strip_frame
from reports.figures.look import WIDTH, Frame, marker, paint, series, tint
from reports.figures.wrapping import wrapped
from reports.parts.blocks import Figure
from reports.wording.grammar import counted, listed, plural
from reports.wording.names import treatment_names, unit_word

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_loss_time"]

_DEEP, _FOOT, _LEFT, _SIDE = 1.9, 0.52, 0.5, 0.14
_LINE = 0.18


def figure_loss_time(analysis: Analysis) -> Figure | None:
    """Show when units were lost, with those that left for other reasons taken into account.

    Parameters
    ----------
    analysis : Analysis
        With the pattern of its losses.

    Returns
    -------
    Figure or None
        None where no loss has a day.
    """
    pattern = analysis.loss_pattern
    if pattern is None or not pattern.curves:
        return None
    trial = analysis.records.trial
    unit, names = unit_word(trial), treatment_names(trial)
    order = [one.code for one in trial.treatments]
    key = [(order.index(one.treatment), names[one.treatment]) for one in pattern.curves]
    head = _LINE * len(key) + 0.1
    frame = Frame(
        name="loss-time", title=_title(pattern.curves, names, unit),
        height=_DEEP + _FOOT + head, alt=_alt(pattern.curves, names, unit),
        caption=_caption(analysis),
    )  # fmt: skip

    def draw(sheet: Sheet, share: float) -> None:
        whole = frame.height / share
        box = (_LEFT / WIDTH, _FOOT / whole, 1 - (_LEFT + _SIDE) / WIDTH, _DEEP / whole)
        axes = sheet.add_axes(box)
        _dress(axes, unit)
        for curve in pattern.curves:
            _draw(axes, curve, order.index(curve.treatment))
        axes.set_xlim(0, max(curve.last for curve in pattern.curves) * 1.02 + 0.5)
        axes.set_ylim(0, _scale_end(pattern.curves))
        _key(sheet, key, whole)

    return paint(frame, draw)


def _lost(curve: LossCurve, day: float) -> float:
    """Give the share lost by a day, in a hundred."""
    until = [share for when, share in zip(curve.days, curve.lost, strict=True) if when <= day]
    return 100 * until[-1] if until else 0.0


def _last_loss(curves: tuple[LossCurve, ...]) -> float:
    days = []
    for curve in curves:
        before = 0.0
        for day, share in zip(curve.days, curve.lost, strict=True):
            if share > before:
                days.append(day)
            before = share
    return max(days)


def _title(curves: tuple[LossCurve, ...], names: dict[str, str], unit: str) -> str:
    last = _last_loss(curves)
    shares = [(names[curve.treatment], _lost(curve, last)) for curve in curves]
    said = listed(f"{_hundred(share)} with {name}" for name, share in shares)
    return f"By day {last:.0f}, the last loss, {said} were lost of a hundred {plural(unit)}."


def _hundred(share: float) -> str:
    return "none" if share == 0 else f"{share:.0f}" if share >= 1 else "fewer than 1"


def _alt(curves: tuple[LossCurve, ...], names: dict[str, str], unit: str) -> str:
    last = _last_loss(curves)
    told = []
    for curve in curves:
        half = _hundred(_lost(curve, last / 2))
        told.append(
            f"{names[curve.treatment]}: {counted(curve.units, unit)}; {half} in a hundred lost "
            f"by day {last / 2:.0f} and {_hundred(_lost(curve, last))} by day {last:.0f}."
        )
    return f"Share of {plural(unit)} lost by each day, a line a treatment. " + " ".join(told)


def _caption(analysis: Analysis) -> str:
    pattern, unit = analysis.loss_pattern, unit_word(analysis.records.trial)
    parts = [
        f"Days are counted from the day the spawn went in. A small tick is a {unit} that left "
        "without contamination: finished, or lost in another way."
    ]
    if pattern is None:
        return parts[0]
    if any(math.isfinite(limit) for curve in pattern.curves for limit in curve.high):
        parts.append("The pale band is what fits at each day by itself.")
    if pattern.undated:
        parts.append(f"{counted(pattern.undated, f'lost {unit}')} had no day and cannot be drawn.")
    return " ".join(parts)


def _scale_end(curves: tuple[LossCurve, ...]) -> float:
    highs = [limit for one in curves for limit in one.high if math.isfinite(limit)]
    most = 100 * max([*highs, *(share for one in curves for share in one.lost)])
    return next((end for end in (10, 20, 30, 40, 50, 60, 80) if most < 0.97 * end), 103)


def _dress(axes: Axes, unit: str) -> None:
    strip_frame(axes)
    rule_levels(axes)
    axes.set_xlabel("days since the spawn went in")
    axes.set_ylabel(f"{plural(unit)} lost in a hundred")


def _draw(axes: Axes, curve: LossCurve, index: int) -> None:
    colour = series(index)
    days = (0.0, *curve.days)
    style = ("-", (0, (7, 1.4)), (0, (1, 1.2)), (0, (5, 1, 1, 1)))[index % 4]
    lost = [0.0, *(100 * share for share in curve.lost)]
    axes.step(days, lost, where="post", color=colour, lw=2.2, ls=style, zorder=3)
    if any(math.isfinite(limit) for limit in curve.high):
        low, high = ([0.0, *(100 * limit for limit in part)] for part in (curve.low, curve.high))
        axes.fill_between(days, low, high, step="post", color=colour, alpha=0.14, lw=0)
    at = [_lost(curve, day) for day in curve.left]
    axes.plot(curve.left, at, ls="", marker="|", color=colour, ms=5, alpha=0.6, zorder=2)
    axes.plot(
        [_last_day(curve)], [lost[-1]], marker=marker(index), color=colour, ms=7, zorder=4,
        markeredgecolor=tint("paper"), markeredgewidth=0.8, clip_on=False,
    )  # fmt: skip


def _last_day(curve: LossCurve) -> float:
    return max(curve.days)


def _key(sheet: Sheet, key: list[tuple[int, str]], whole: float) -> None:
    """Name the lines above the drawing, each with its marker."""
    top = _FOOT + _DEEP + _LINE * len(key)
    for line, (index, name) in enumerate(key):
        y = (top - _LINE * line) / whole
        said = wrapped(name, WIDTH - _LEFT - 0.5, 9, bold=True, most=1)[0]
        sheet.text((_LEFT + 0.22) / WIDTH, y, said, size=9, weight="bold", va="center")
        mark = sheet.add_axes((_LEFT / WIDTH, y - 0.07 / whole, 0.16 / WIDTH, 0.14 / whole))
        mark.set_axis_off()
        mark.plot([0.5], [0.5], marker=marker(index), color=series(index), ms=7)
        mark.set_xlim(0, 1)
        mark.set_ylim(0, 1)
