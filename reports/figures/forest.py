"""Each grower's own answer, all of them together, and what one more grower should expect."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from analyses.pooling.answers import GroupAnswer, GrowerAnswer
from reports.figures.axes import plain_axes
from reports.figures.difference_scale import Zone, write_ends, write_key, zone_of
from reports.figures.look import WIDTH, Frame, marker, paint, series, tint
from reports.figures.wrapping import wrapped
from reports.parts.blocks import Figure
from reports.wording.group_words import OUTCOME_HEADINGS, group_headline, scene_between
from reports.wording.names import printable, shorten
from reports.wording.ranges import fits
from reports.wording.speech import Scene, set_scene
from trials.trial import Trial

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_forest"]

_LANE, _THIN, _FOOT = 0.27, 0.035, 1.0
_LEFT, _SIDE = 1.02, 0.14
_MOST_NAMED = 30
_SMALL = 8.0
_TALL = 3
_LINE, _KEY = 0.14, 0.32


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bar:
    """One range: its name, its ends in the measure, how tall its lane is."""

    kind: Literal["grower", "all", "ahead"]
    name: str
    value: float
    low: float
    high: float
    lane: float
    drawn: float = math.nan
    weight: float = 1.0


def figure_forest(answer: GroupAnswer, trial: Trial) -> Figure | None:
    """Show the growers one under another, the average, and the bar for one more grower.

    Parameters
    ----------
    answer : GroupAnswer
        About one treatment.
    trial : Trial
        The plan of the group.

    Returns
    -------
    Figure or None
        None where the group has no answer.
    """
    finding = answer.finding
    if finding.verdict == "withheld":
        return None
    scene = set_scene(finding, trial)
    bars = _bars(answer, scene)
    title = group_headline(finding, trial)
    zone = zone_of(scene)
    named = len(answer.growers) <= _MOST_NAMED
    said = _axis_lines(scene)
    foot = _FOOT + _LINE * (len(said) - 1) - (0 if zone else _KEY)
    frame = Frame(
        name=f"forest-{_slug(finding.id)}",
        title=title
        if finding.planned
        else f"{OUTCOME_HEADINGS[finding.estimate.outcome]}, all growers together: {fits(scene)} "
        f"fits {scene.it}.",
        height=sum(bar.lane for bar in bars) + foot,
        alt=_alt(answer, trial, scene),
        caption=_caption(scene, zone, named=named),
    )

    def draw(sheet: Sheet, share: float) -> None:
        deep = frame.height - foot
        whole = frame.height / share
        axes = plain_axes(
            sheet,
            (_LEFT / WIDTH, foot / whole, (WIDTH - _LEFT - _SIDE) / WIDTH, deep / whole),
        )
        axes.set_ylim(deep, 0)
        axes.set_yticks([])
        axes.set_xlim(*_ends(bars, zone))
        _background(axes, zone, deep)
        top = 0.0
        for bar in bars:
            _draw(axes, bar, top + bar.lane / 2, named=named)
            top += bar.lane
        if not named:
            _write(axes, f"{len(answer.growers)} growers", _THIN * len(answer.growers) / 2)
        _label(axes, scene, zone, said)

    return paint(frame, draw)


def _caption(scene: Scene, zone: Zone | None, *, named: bool) -> str:
    lines = ["A square is what one grower's bags say alone, with the range that fits."]
    if named:
        lines.append(
            "Larger squares are surer. A small upright mark is the same with the others' help."
        )
    else:
        lines.append("Growers stand in order of their answers.")
    lines.append(
        "The diamond is the average; the hatched bar is what one more grower should expect. "
        f"The upright line is {scene.control}."
    )
    if zone:
        lines.append(f"The shaded part: {zone.said}.")
    return " ".join(lines)


def _slug(name: str) -> str:
    return "".join(letter if letter.isalnum() else "-" for letter in name).lower()


def _bars(answer: GroupAnswer, scene: Scene) -> list[_Bar]:
    per = scene.measure.per
    growers = list(answer.growers)
    named = len(growers) <= _MOST_NAMED
    if not named:
        growers.sort(key=lambda one: one.own.value)
    weights = [_weight(one, answer) for one in growers]
    heaviest = max([weight for weight in weights if weight > 0], default=1.0)
    bars = [
        _Bar(
            kind="grower", name=_name(one.shown), value=one.own.value / per,
            low=one.own.low / per, high=one.own.high / per, lane=_LANE if named else _THIN,
            drawn=one.drawn.value / per if one.drawn else math.nan, weight=weight / heaviest,
        )
        for one, weight in zip(growers, weights, strict=True)
    ]  # fmt: skip
    estimate = answer.finding.estimate
    bars.append(
        _Bar(kind="all", name="All together", value=estimate.value / per, low=estimate.low / per,
             high=estimate.high / per, lane=0.36)
    )  # fmt: skip
    if answer.prediction is not None:
        ahead = answer.prediction
        bars.append(
            _Bar(kind="ahead", name="One more\ngrower", value=math.nan, low=ahead.low / per,
                 high=ahead.high / per, lane=0.3)
        )  # fmt: skip
    return bars


def _name(shown: str) -> str:
    """Break a name into two lines that fit beside the scale."""
    return "\n".join(wrapped(printable(shown), _LEFT - 0.14, _SMALL, most=2))


def _weight(one: GrowerAnswer, answer: GroupAnswer) -> float:
    if answer.pooled is None or not one.own.variance > 0:
        return 0.0
    return 1 / (one.own.variance + answer.pooled.tau2)


def _alt(answer: GroupAnswer, trial: Trial, scene: Scene) -> str:
    finding = answer.finding
    parts = [f"Difference from {scene.control}. All together: {fits(scene)} fits."]
    if answer.prediction is not None:
        ahead = answer.prediction
        one = scene_between(finding, trial, finding.estimate.value, ahead.low, ahead.high)
        parts.append(f"One more grower: {fits(one)}.")
    if len(answer.growers) <= _MOST_NAMED:
        for grower in answer.growers:
            own = grower.own
            if own.withheld:
                parts.append(f"{printable(grower.shown)}: no range.")
                continue
            told = fits(scene_between(finding, trial, own.value, own.low, own.high))
            parts.append(f"{printable(grower.shown)}: {told}.")
    return " ".join(parts)


def _ends(bars: list[_Bar], zone: Zone | None) -> tuple[float, float]:
    """Give the scale: the average, the prediction and most growers whole, extremes cut."""
    places = [0.0]
    for bar in bars:
        ends = (bar.value,) if bar.kind == "grower" else (bar.low, bar.high)
        places += [end for end in ends if math.isfinite(end)]
    middle = max(places) - min(places) or 1.0
    reach = (min(places) - _TALL * middle, max(places) + _TALL * middle)
    for bar in bars:
        places += [min(max(end, reach[0]), reach[1]) for end in (bar.low, bar.high)
                   if math.isfinite(end)]  # fmt: skip
    if zone:
        places += zone.edges
    room = 0.06 * (max(places) - min(places) or 1.0)
    return min(places) - room, max(places) + room


def _background(axes: Axes, zone: Zone | None, deep: float) -> None:
    low, high = axes.get_xlim()
    if zone:
        left, right = max(zone.low, low), min(zone.high, high)
        axes.fill_betweenx([0, deep], left, right, color=tint("zone"), lw=0, zorder=-2)
        for end in zone.edges:
            axes.axvline(end, color=tint("zone edge"), lw=1.2, ls=(0, (4, 2)), zorder=1)
    axes.axvline(0, color=tint("ink"), lw=1.4, zorder=2)
    ticks = [tick for tick in axes.get_xticks() if low <= tick <= high]
    axes.vlines(ticks, 0, deep, color=tint("rule"), linewidth=0.7, zorder=0)
    axes.set_xlim(low, high)


def _draw(axes: Axes, bar: _Bar, middle: float, *, named: bool) -> None:
    if bar.kind == "ahead":
        half = bar.lane * 0.2
        axes.fill_betweenx(
            [middle - half, middle + half], bar.low, bar.high, facecolor=tint("paper"),
            edgecolor=series(1), hatch="/////", lw=1.4, zorder=3,
        )  # fmt: skip
    elif bar.kind == "all":
        half = bar.lane * 0.3
        axes.fill(
            [bar.low, bar.value, bar.high, bar.value],
            [middle, middle - half, middle, middle + half],
            color=series(1), lw=0, zorder=4,
        )  # fmt: skip
    else:
        _draw_grower(axes, bar, middle, named=named)
    if named or bar.kind != "grower":
        _write(axes, bar.name, middle, bold=bar.kind != "grower")


def _draw_grower(axes: Axes, bar: _Bar, middle: float, *, named: bool) -> None:
    colour = series(2)
    if math.isfinite(bar.low + bar.high):
        axes.plot([bar.low, bar.high], [middle] * 2, color=colour, lw=1.4 if named else 0.6,
                  solid_capstyle="butt", zorder=3)  # fmt: skip
    size = (3.5 + 4.5 * math.sqrt(max(bar.weight, 0.0))) if named else 1.5
    if math.isfinite(bar.value):
        axes.plot([bar.value], [middle], marker=marker(1), color=colour, ms=size, zorder=4,
                  markeredgecolor=tint("paper"), markeredgewidth=0.5 if named else 0)  # fmt: skip
    if named and math.isfinite(bar.drawn):
        axes.plot([bar.drawn] * 2, [middle - 0.09, middle + 0.09], color=tint("ink"), lw=2.0,
                  zorder=5)  # fmt: skip


def _write(axes: Axes, text: str, y: float, *, bold: bool = False) -> None:
    axes.annotate(
        text, (0, y), xycoords=("axes fraction", "data"), xytext=(-5, 0),
        textcoords="offset points", ha="right", va="center", size=_SMALL if not bold else 8.5,
        linespacing=1.0, weight="bold" if bold else "normal", color=tint("ink"),
        annotation_clip=False,
    )  # fmt: skip


def _axis_lines(scene: Scene) -> list[str]:
    amount = f"{scene.measure.word}{scene.tail}".strip()
    text = f"{amount}, compared with {shorten(scene.control, 20)}"
    return wrapped(text, WIDTH - _LEFT - _SIDE, 8.5, most=2)


def _label(axes: Axes, scene: Scene, zone: Zone | None, said: list[str]) -> None:
    axes.set_xlabel("\n".join(said), size=8.5, labelpad=14, linespacing=1.1)
    write_ends(axes, scene.word("less"), scene.word("more"), drop=18)
    if zone:
        worth = wrapped(zone.said, WIDTH - 0.5, 8.5, most=1)[0]
        drop = 53 + 72 * _LINE * (len(said) - 1)
        write_key(axes, worth, left=-(_LEFT - 0.12) * 72, drop=drop)
