"""The difference from the control, with its interval and the zone that would matter."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from analyses.analysis import Analysis
from reports.figures.look import WIDTH, Frame, marker, paint, series, tint
from reports.figures.rows import Row, lay_rows, rows_height, rule_lanes
from reports.figures.wrapping import wrapped
from reports.parts.blocks import Figure
from reports.wording.grammar import capital
from reports.wording.names import shorten
from reports.wording.overview import overview, planned_findings
from reports.wording.ranges import bare_range, fits
from reports.wording.speech import Scene, margin_text, set_scene

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_difference"]

_LANE, _FOOT, _SECOND_LINE = 0.34, 0.98, 0.15


@dataclass(frozen=True, slots=True, kw_only=True)
class _Zone:
    """The stretch of the scale that the plan speaks of, in the measure; open ends infinite."""

    low: float
    high: float
    said: str


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
    zone = _zone(scenes[0])
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
            _draw_zone(axes, zone, ends, middle, height)
            _draw(axes, scene, order.index(scene.finding.estimate.treatment), middle, height)
        rule_lanes(axes, lanes)
        _label(axes, scenes[0])
        _key(axes, zone)

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


def _zone(scene: Scene) -> _Zone | None:
    finding = scene.finding
    if finding.worthwhile is None or not finding.planned:
        return None
    margin, said = finding.worthwhile / scene.measure.per, margin_text(scene)
    good = 1.0 if scene.good == "more" else -1.0
    if finding.claim == "same":
        return _Zone(low=-margin, high=margin, said=f"less than {said} either way")
    if finding.claim == "no worse":
        ends = sorted((-good * margin, good * math.inf))
        return _Zone(low=ends[0], high=ends[1], said=f"what you allowed, {said}")
    ends = sorted((good * margin, good * math.inf))
    return _Zone(low=ends[0], high=ends[1], said=f"worth changing for, {said} or beyond")


def _ends(scenes: list[Scene], zone: _Zone | None) -> tuple[float, float]:
    places = [0.0]
    for scene in scenes:
        places += [scene.span.low, scene.span.high]
    if zone:
        places += [end for end in (zone.low, zone.high) if math.isfinite(end)]
    room = 0.12 * (max(places) - min(places) or 1.0)
    return min(places) - room, max(places) + room


def _draw_zone(
    axes: Axes, zone: _Zone | None, ends: tuple[float, float], middle: float, height: float
) -> None:
    edges = [middle - height / 2, middle + height / 2]
    axes.plot([0, 0], edges, color=tint("ink"), lw=1.4, zorder=2)
    if zone is None:
        return
    low, high = max(zone.low, ends[0]), min(zone.high, ends[1])
    axes.fill_betweenx(edges, low, high, color=tint("zone"), lw=0, zorder=-2)
    for end in (zone.low, zone.high):
        if math.isfinite(end):
            axes.plot([end, end], edges, color=tint("zone edge"), lw=1.2, ls=(0, (4, 2)), zorder=1)


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
    axes.xaxis.set_major_formatter(_signed)
    _below(axes, 0.0, f"← {scene.word('less')}", ha="left")
    _below(axes, 1.0, f"{scene.word('more')} →", ha="right")


def _below(axes: Axes, x: float, text: str, *, ha: Literal["left", "right"]) -> None:
    axes.annotate(
        text, (x, 0), xycoords="axes fraction", xytext=(0, -20), textcoords="offset points",
        ha=ha, va="top", size=9, color=tint("ink"), weight="bold",
    )  # fmt: skip


def _key(axes: Axes, zone: _Zone | None) -> None:
    """Say under the scale what the shaded part means."""
    if zone is None:
        return
    axes.annotate(
        "■", (0, 0), xycoords="axes fraction", xytext=(0, -47), textcoords="offset points",
        va="top", size=11, color=tint("zone edge"),
    )  # fmt: skip
    axes.annotate(
        "\n".join(_key_lines(zone)), (0, 0), xycoords="axes fraction",
        xytext=(13, -48), textcoords="offset points", va="top", size=8.5, color=tint("muted"),
        linespacing=1.25,
    )  # fmt: skip


def _key_lines(zone: _Zone) -> list[str]:
    return wrapped(zone.said, WIDTH - 0.55, 8.5, most=2)


def _signed(value: float, _place: float) -> str:
    return f"{value:+g}".replace("-", "−") if value else "0"
