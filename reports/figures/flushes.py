"""Weight by flush: the mean of each treatment, every unit faint behind it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analyses.analysis import Analysis
from reports.figures.axes import rule_levels, strip_frame
from reports.figures.look import WIDTH, Frame, marker, paint, series, tint
from reports.figures.wrapping import wrapped
from reports.parts.blocks import Figure
from reports.wording.grammar import listed, plural
from reports.wording.names import treatment_names, unit_word
from reports.wording.numbers import Measure, measure, percentage

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_flushes", "first_flush"]

_PANEL, _FOOT, _LEFT, _BETWEEN = 1.75, 0.5, 0.62, 0.3
_HEAD, _NAME_LINE = 0.26, 0.16
_MANY = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class _Panel:
    """One treatment: mean by flush, and the weights of each unit by flush."""

    index: int
    name: str
    means: tuple[tuple[int, float], ...]
    units: tuple[tuple[tuple[int, float], ...], ...]


def figure_flushes(analysis: Analysis) -> Figure | None:
    """Show how the weight falls from flush to flush.

    Parameters
    ----------
    analysis : Analysis
        With its table of flushes.

    Returns
    -------
    Figure or None
        None where fewer than two flushes were weighed.
    """
    if len({row.flush for row in analysis.flush_rows if row.bags}) < 2:
        return None
    panels = _choose(analysis)
    trial = analysis.records.trial
    unit = measure("g", trial.weights)
    lines = -(-len(panels) // 2)
    head = _HEAD + _NAME_LINE * max(len(_name_lines(panel)) for panel in panels)
    frame = Frame(
        name="flushes", title=first_flush(analysis),
        height=lines * (_PANEL + head) + _FOOT, alt=_alt(analysis, panels, unit),
        caption=f"Thin lines are single {plural(unit_word(trial))}, the strong line is their mean; "
        "dotted lines are the means of the other treatments.",
    )  # fmt: skip

    def draw(sheet: Sheet, share: float) -> None:
        top = max(value for panel in panels for line in panel.units for _, value in line)
        for place, panel in enumerate(panels):
            axes = _axes(sheet, frame.height / share, place, lines, head)
            _draw(axes, panel, panels, 1.04 * top)
            if place % 2 == 0:
                axes.set_ylabel(f"{unit.word} per {unit_word(trial)}")
            if place + 2 >= len(panels):
                axes.set_xlabel("flush")

    return paint(frame, draw)


def first_flush(analysis: Analysis) -> str:
    """Say what share of the crop came with the first flush.

    Parameters
    ----------
    analysis : Analysis
        With its table of flushes.
    """
    names = treatment_names(analysis.records.trial)
    shares = [
        (names[row.treatment], 100 * row.share)
        for row in analysis.flush_rows
        if row.flush == 1 and math.isfinite(row.share)
    ]
    if not shares:
        return "No first flush was weighed."
    if len(shares) <= 3:
        said = listed(f"{percentage(share)} with {name}" for name, share in shares)
        return f"Of all that was picked, the first flush brought {said}."
    low, high = (percentage(end(share for _, share in shares)) for end in (min, max))
    return f"Of all that was picked, the first flush brought {low} to {high}."


def _choose(analysis: Analysis) -> list[_Panel]:
    trial = analysis.records.trial
    names, per = treatment_names(trial), measure("g", trial.weights).per
    weighed = analysis.records.flushes
    weighed = weighed[weighed["grams"].notna()]
    panels = []
    for index, one in enumerate(trial.treatments):
        mine = weighed[weighed["treatment"] == one.code].sort_values("flush")
        units = tuple(
            tuple(zip((int(n) for n in part["flush"]), part["grams"] / per, strict=True))
            for _, part in mine.groupby("code", sort=False)
        )
        means = tuple(
            (row.flush, row.mean_g / per)
            for row in analysis.flush_rows
            if row.treatment == one.code and row.bags
        )
        panels.append(_Panel(index=index, name=names[one.code], means=means, units=units))
    return panels


def _alt(analysis: Analysis, panels: list[_Panel], unit: Measure) -> str:
    word = unit_word(analysis.records.trial)
    told = []
    for panel in panels:
        means = listed(
            f"{unit.say(value, _step(value))} in flush {flush}" for flush, value in panel.means
        )
        told.append(f"{panel.name}: {means}.")
    return f"Mean weight per {word} by flush, a panel a treatment. " + " ".join(told)


def _step(value: float) -> float:
    return float(10.0 ** (math.floor(math.log10(value)) - 2)) if value > 0 else 1.0


def _axes(sheet: Sheet, whole: float, place: int, lines: int, head: float) -> Axes:
    line, column = divmod(place, 2)
    wide = (WIDTH - _LEFT - _BETWEEN - 0.12) / 2
    bottom = _FOOT + (lines - 1 - line) * (_PANEL + head)
    left = _LEFT + column * (wide + _BETWEEN)
    axes = sheet.add_axes((left / WIDTH, bottom / whole, wide / WIDTH, _PANEL / whole))
    strip_frame(axes)
    axes.tick_params(axis="y", labelleft=column == 0)
    rule_levels(axes)
    return axes


def _draw(axes: Axes, panel: _Panel, panels: list[_Panel], top: float) -> None:
    colour = series(panel.index)
    flushes = sorted({flush for one in panels for flush, _ in one.means})
    for other in panels:
        if other is not panel:
            axes.plot(*zip(*other.means, strict=True), color=tint("muted"), lw=1.1, ls=":")
    # One line with gaps for all units: a large trial stays a small file.
    gap = (math.nan, math.nan)
    every = [point for unit in panel.units for point in (*unit, gap)]
    if every:
        thin = 0.7 if len(panel.units) < _MANY else 0.3
        axes.plot(*zip(*every, strict=True), color=colour, lw=thin, alpha=0.35)
    if panel.means:
        axes.plot(
            *zip(*panel.means, strict=True), color=colour, lw=2.4, marker=marker(panel.index), ms=7,
            markeredgecolor=tint("paper"), markeredgewidth=0.8,
        )  # fmt: skip
    axes.set_xticks(flushes)
    axes.set_xlim(min(flushes) - 0.25, max(flushes) + 0.25)
    axes.set_ylim(0, top)
    axes.set_title("\n".join(_name_lines(panel)), loc="left", size=9.5, weight="bold", pad=5)


def _name_lines(panel: _Panel) -> list[str]:
    return wrapped(panel.name, (WIDTH - _LEFT - _BETWEEN) / 2, 9.5, bold=True, most=2)
