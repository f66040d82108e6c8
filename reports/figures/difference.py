"""The difference from the control, with its interval and the zone that would matter."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from analyses.analysis import Analysis
from reports.figures.difference_scale import (
    Zone,
    draw_zone,
    write_ends,
    write_key,
    zone_of,
)
from reports.figures.look import WIDTH, Frame, marker, paint, series, tint
from reports.figures.rows import Row, lay_rows, rows_height, rule_lanes
from reports.figures.wrapping import wrapped
from reports.parts.blocks import Figure
from reports.wording.grammar import capital
from reports.wording.names import shorten
from reports.wording.overview import overview, planned_findings
from reports.wording.ranges import bare_range, fits
from reports.wording.speech import Scene, set_scene

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_difference"]

_LANE, _FOOT, _SECOND_LINE = 0.34, 0.98, 0.15


def figure_difference(analysis: Analysis) -> Figure | None:
    """Show each planned comparison on one scale.

    Parameters
    ----------
    analysis : Analysis
        Comparisons without inference are left out.

    Returns
    -------
    Figure or None
        None where every comparison was withheld.
    """
    trial = analysis.records.trial
    planned = planned_findings(analysis.findings)
    scenes = [set_scene(one, trial) for one in planned if one.verdict != "withheld"]
    scenes = [scene for scene in scenes if math.isfinite(scene.span.low + scene.span.high)]
    if not scenes:
        return None
    zone = zone_of(scenes[0])
    foot = _FOOT + (_SECOND_LINE if zone and len(_key_lines(zone)) > 1 else 0.0)
    rows = [Row(name=scene.it, note=_note(scene), lane=_LANE) for scene in scenes]
    against = f"Difference from {scenes[0].control}"
    frame = Frame(
        name="difference",
        title=_title(scenes, overview(planned, trial)),height=rows_height(rows, foot=foot),
        alt=f"{against}, with the range that fits. "
        + " ".join(f"{row.name}: {row.note}." for row in rows)
        + (f" Shaded: {zone.said}." if zone else ""),
        caption=f"The mark is the best guess, the line the range that fits. "
        f"The upright line is {scenes[0].control}."
        + (f" The shaded part: {zone.said}." if zone else ""),
    )  # fmt: skip
    order = [one.code for one in trial.treatments]

    def draw(sheet: Sheet, share: float) -> None:
        axes, lanes = lay_rows(sheet, share, rows, foot=foot)
        ends = _ends(scenes, zone)
        axes.set_xlim(*ends)
        for scene, (middle, height) in zip(scenes, lanes, strict=True):
            draw_zone(axes, zone, ends, middle, height)
            _draw(axes, scene, order.index(scene.finding.estimate.treatment), middle, height)
        rule_lanes(axes, lanes)
        _label(axes, scenes[0])
        if zone:
            write_key(axes, "\n".join(_key_lines(zone)))

    return paint(frame, draw)


def _title(scenes: list[Scene], together: str) -> str:
    """Say the range where there is one comparison; where there are several, the verdicts."""
    if len(scenes) > 1:
        return together
    scene = scenes[0]
    if scene.direction == "either":
        return f"Set beside {scene.control}, {fits(scene)} fits {scene.it}."
    return capital(f"{scene.it} {scene.speech.verb} {fits(scene)} than {scene.control}.")


def _note(scene: Scene) -> str:
    value = scene.span.value
    word = scene.word("more" if value >= 0 else "less")
    guess = f"{scene.amount(value)} {word}" if value else "no difference"
    fit = bare_range(scene).removeprefix("anything ")
    return f"best guess {guess}; {fit} fits"


def _ends(scenes: list[Scene], zone: Zone | None) -> tuple[float, float]:
    places = [0.0]
    for scene in scenes:
        places += [scene.span.low, scene.span.high]
    if zone:
        places += zone.edges
    room = 0.12 * (max(places) - min(places) or 1.0)
    return min(places) - room, max(places) + room


def _draw(axes: Axes, scene: Scene, index: int, middle: float, height: float) -> None:
    estimate, per = scene.finding.estimate, scene.measure.per
    colour = series(index)
    low, high = estimate.low / per, estimate.high / per
    axes.plot([low, high], [middle] * 2, color=colour, lw=2.6, solid_capstyle="butt", zorder=3)
    tick = height * 0.22
    for end in (low, high):
        axes.plot([end, end], [middle - tick, middle + tick], color=colour, lw=2.0, zorder=3)
    axes.plot(
        [estimate.value / per], [middle], marker=marker(index), color=colour, ms=9, zorder=4,
        markeredgecolor=tint("paper"), markeredgewidth=0.8,
    )  # fmt: skip


def _label(axes: Axes, scene: Scene) -> None:
    amount = f"{scene.measure.word}{scene.tail}".strip()
    text = f"{amount}, compared with {shorten(scene.control, 20)}"
    axes.set_xlabel("\n".join(wrapped(text, WIDTH - 1.5, 8.5, most=2)), size=8.5)
    write_ends(axes, scene.word("less"), scene.word("more"))


def _key_lines(zone: Zone) -> list[str]:
    return wrapped(zone.said, WIDTH - 0.55, 8.5, most=2)
