"""The same losses counted two ways: by batches, and by units as if each stood alone."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analyses.analysis import Analysis
from reports.figures.difference_scale import Zone, draw_zone, write_ends, write_key, zone_of
from reports.figures.look import Frame, paint, tint
from reports.figures.rows import Row, lay_rows, rows_height, rule_lanes
from reports.parts.blocks import Figure
from reports.wording.counting import Counting, countings
from reports.wording.names import treatment_names
from reports.wording.ranges import bare_range
from reports.wording.speech import Scene

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_counting"]

_LANE, _FOOT = 0.3, 0.98


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bar:
    """One range, and whether it may be believed."""

    row: Row
    scene: Scene
    right: bool


def figure_counting(analysis: Analysis) -> Figure | None:
    """Show what counting units would have claimed beside what the batches say.

    Parameters
    ----------
    analysis : Analysis
        With what counting units would have claimed.

    Returns
    -------
    Figure or None
        None where units count for themselves.
    """
    told = countings(analysis)
    if not told:
        return None
    bars = [bar for one in told for bar in _bars(one, analysis, several=len(told) > 1)]
    rows = [bar.row for bar in bars]
    zone = _zone(told[0])
    control = treatment_names(analysis.records.trial)[told[0].naive.control]
    frame = Frame(
        name="counting", title=_title(told), height=rows_height(rows, foot=_FOOT),
        alt=f"Difference in losses from {control}, counted two ways. "
        + " ".join(f"{row.name}: {row.note}." for row in rows),
        caption="The solid line is the range that fits when each batch counts once. The dashed "
        "line takes each one for a try of its own, which it was not; do not use it. The upright "
        f"line is {control}."
        + (f" The shaded part: {zone.said}." if zone else ""),
    )  # fmt: skip

    def draw(sheet: Sheet, share: float) -> None:
        axes, lanes = lay_rows(sheet, share, rows, foot=_FOOT)
        ends = _ends(bars, zone)
        axes.set_xlim(*ends)
        for bar, (middle, height) in zip(bars, lanes, strict=True):
            _draw(axes, bar, middle, height, zone, ends)
        rule_lanes(axes, lanes)
        _label(axes, zone)

    return paint(frame, draw)


def _bars(one: Counting, analysis: Analysis, *, several: bool) -> list[_Bar]:
    who = f"{treatment_names(analysis.records.trial)[one.naive.treatment]}: " if several else ""
    wrong = _Bar(
        row=Row(
            name=f"{who}{one.units_said}, as if each stood alone",
            note=f"{bare_range(one.wrong)} (not earned)", lane=_LANE,
        ),
        scene=one.wrong, right=False,
    )  # fmt: skip
    said = "no range: one batch a side cannot tell" if one.right is None else bare_range(one.right)
    row = Row(name=f"{who}{one.batches_said}, each counted once", note=said, lane=_LANE)
    return [_Bar(row=row, scene=one.right or one.wrong, right=one.right is not None), wrong]


def _title(told: list[Counting]) -> str:
    one = told[0]
    if one.right is None:
        return f"{one.units_said} are only {one.batches_said}: too few to tell."
    said = f"There were {one.units_said}, but only {one.batches_said}"
    wide, narrow = (scene.span.high - scene.span.low for scene in (one.right, one.wrong))
    return f"{said}; the honest range is wider." if wide > narrow else f"{said}."


def _zone(one: Counting) -> Zone | None:
    return zone_of(one.wrong) if one.wrong.finding.claim == "no worse" else None


def _ends(bars: list[_Bar], zone: Zone | None) -> tuple[float, float]:
    places = [0.0, *(zone.edges if zone else ())]
    for bar in bars:
        places += [bar.scene.span.low, bar.scene.span.high]
    room = 0.08 * (max(places) - min(places) or 1.0)
    return min(places) - room, max(places) + room


def _draw(
    axes: Axes,
    bar: _Bar,
    middle: float,
    height: float,
    zone: Zone | None,
    ends: tuple[float, float],
) -> None:
    draw_zone(axes, zone, ends, middle, height)
    if not bar.right and "no range" in bar.row.note:
        return
    estimate, colour = bar.scene.finding.estimate, tint("ink" if bar.right else "muted")
    axes.plot(
        [estimate.low, estimate.high], [middle] * 2, color=colour, lw=2.6 if bar.right else 1.8,
        ls="-" if bar.right else (0, (3, 2)), zorder=3,
    )  # fmt: skip
    if math.isfinite(estimate.value):
        axes.plot(
            [estimate.value], [middle], marker="o", color=colour, ms=7, zorder=4,
            markerfacecolor=colour if bar.right else tint("paper"), markeredgewidth=1.4,
        )  # fmt: skip


def _label(axes: Axes, zone: Zone | None) -> None:
    # The ends of the scale hold their own words, so that the middle has to be short.
    axes.set_xlabel("lost in a hundred, difference", size=9)
    write_ends(axes, "fewer", "more")
    if zone:
        write_key(axes, zone.said)
