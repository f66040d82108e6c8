"""Every bag by treatment, and by block where there are blocks, with mean and interval."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analyses.analysis import Analysis
from analyses.finding import Mean
from reports.figures.look import Frame, marker, paint, series, tint
from reports.figures.rows import Row, lay_rows, rows_height, rule_lanes
from reports.parts.blocks import Figure
from reports.wording.grammar import counted, listed, plural
from reports.wording.names import printable, treatment_names, unit_word
from reports.wording.numbers import Measure, Rounded, measure, round_span
from reports.wording.overview import overview, planned_findings

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_bags"]

_LANE, _LANES_GROW = 0.62, 0.055
_DOT = 26.0
_FEW = 60
_LOST = ["contaminated", "lost otherwise"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Strip:
    """One treatment: weights of its units, where each lies in the lane, which were lost."""

    index: int
    name: str
    weights: tuple[float, ...]
    offsets: tuple[float, ...]
    lost: tuple[bool, ...]
    mean: Mean | None


def figure_bags(analysis: Analysis) -> Figure | None:
    """Show what every unit gave.

    Parameters
    ----------
    analysis : Analysis
        Units whose total is unknown are left out and counted in the caption.

    Returns
    -------
    Figure or None
        None where no unit has a known total.
    """
    strips = _choose(analysis)
    if not any(strip.weights for strip in strips):
        return None
    trial, unit = analysis.records.trial, measure("g", analysis.records.trial.weights)
    rows = [
        Row(name=strip.name, note=_note(strip, unit, unit_word(trial)), lane=_lane(analysis))
        for strip in strips
    ]
    title = _title(analysis, strips, unit)
    frame = Frame(
        name="bags", title=title, height=rows_height(rows), caption=_caption(analysis),
        alt=f"One mark for each {unit_word(trial)} on a scale of weight, a row a treatment. "
        + " ".join(f"{row.name}: {row.note}." for row in rows),
    )  # fmt: skip

    def draw(sheet: Sheet, share: float) -> None:
        axes, lanes = lay_rows(sheet, share, rows)
        for strip, (middle, height) in zip(strips, lanes, strict=True):
            _draw_strip(axes, strip, unit, middle, height)
        axes.set_xlim(left=-0.02 * axes.get_xlim()[1])
        rule_lanes(axes, lanes)
        axes.set_xlabel(f"fresh weight per {unit_word(trial)}, {unit.word}")

    return paint(frame, draw)


def _choose(analysis: Analysis) -> list[_Strip]:
    names, bags = treatment_names(analysis.records.trial), analysis.bags
    strips = []
    for index, one in enumerate(analysis.records.trial.treatments):
        mine = bags[(bags["treatment"] == one.code) & bags["total_g"].notna()]
        weights = tuple(float(value) for value in mine["total_g"])
        strips.append(
            _Strip(
                index=index, name=names[one.code], weights=weights,
                offsets=_offsets(analysis, tuple(mine["block"]), weights),
                lost=tuple(bool(one) for one in mine["fate"].isin(_LOST)),
                mean=_mean(analysis, one.code),
            )
        )  # fmt: skip
    return strips


def _mean(analysis: Analysis, code: str) -> Mean | None:
    for mean in analysis.means:
        if mean.treatment == code and mean.unit == "g" and "started" in mean.estimand:
            return mean
    return None


def _offsets(
    analysis: Analysis, blocks: tuple[str, ...], weights: tuple[float, ...]
) -> tuple[float, ...]:
    """Place units across the lane, -0.5 to 0.5: by block, or else side by side."""
    order = analysis.records.layout.blocks
    if len(order) > 1:
        return tuple(order.index(block) / (len(order) - 1) - 0.5 for block in blocks)
    return _side_by_side(weights)


def _side_by_side(weights: tuple[float, ...]) -> tuple[float, ...]:
    """Push units of like weight apart, so that none hides another."""
    if not weights:
        return ()
    near = (max(weights) - min(0.0, *weights)) / 45 or 1.0
    tracks = [0.0, 0.25, -0.25, 0.5, -0.5, 0.125, -0.125, 0.375, -0.375]
    last: dict[float, float] = dict.fromkeys(tracks, -math.inf)
    placed = [0.0] * len(weights)
    for index in sorted(range(len(weights)), key=lambda place: weights[place]):
        free = [track for track in tracks if weights[index] - last[track] >= near]
        track = free[0] if free else min(tracks, key=lambda one: last[one])
        placed[index], last[track] = track, weights[index]
    return tuple(placed)


def _lane(analysis: Analysis) -> float:
    blocks = len(analysis.records.layout.blocks)
    return _LANE + _LANES_GROW * max(0, min(blocks, 24) - 6)


def _note(strip: _Strip, unit: Measure, word: str) -> str:
    mean = strip.mean
    number = counted(len(strip.weights), word)
    if mean is None or not math.isfinite(mean.value):
        return number
    span = _rounded(mean, unit)
    middle = f"mean {unit.say(span.value, span.step)}"
    if not math.isfinite(mean.low):
        return f"{middle}, {number}"
    low, high = (unit.say(limit, span.step) for limit in (span.low, span.high))
    return f"{middle}, between {low} and {high} fits; {number}"


def _rounded(mean: Mean, unit: Measure) -> Rounded:
    """Round by what fits, or to three figures where nothing says how much does."""
    value, low, high = (one / unit.per for one in (mean.value, mean.low, mean.high))
    if math.isfinite(low):
        return round_span(value, low, high, finest=unit.finest)
    step = float(10.0 ** (math.floor(math.log10(abs(value))) - 2)) if value else 1.0
    return round_span(value, value - 10 * step, value + 10 * step, finest=unit.finest)


def _title(analysis: Analysis, strips: list[_Strip], unit: Measure) -> str:
    trial = analysis.records.trial
    planned = planned_findings(analysis.findings)
    if planned and planned[0].planned and planned[0].estimate.outcome == "yield":
        return overview(planned, trial)
    said = [
        f"{unit.say(span.value, span.step)} with {strip.name}"
        for strip in strips
        if strip.mean and math.isfinite(strip.mean.value)
        for span in [_rounded(strip.mean, unit)]
    ]
    return f"On average a {unit_word(trial)} gave {listed(said)}."


def _caption(analysis: Analysis) -> str:
    trial, unit = analysis.records.trial, unit_word(analysis.records.trial)
    parts = [f"Each mark is one {unit}. The long line is the mean, the band what fits it."]
    bags, blocks = analysis.bags, analysis.records.layout.blocks
    if bool(bags["fate"].isin(_LOST).any()):
        parts.append(f"A cross is a lost {unit}; it counts as what it gave.")
    if len(blocks) > 1:
        first, last = printable(blocks[0]), printable(blocks[-1])
        word = plural(printable(trial.design.block) or "block")
        parts.append(f"Within a row the {word} lie under each other: {first} on top, {last} below.")
    unknown = int(bags["total_g"].isna().sum())
    if unknown:
        is_or_are = "is" if unknown == 1 else "are"
        parts.append(f"{counted(unknown, unit)} of unknown total {is_or_are} not shown.")
    return " ".join(parts)


def _dot(number: int) -> float:
    """Area of a mark: smaller where there are many, so that they do not hide each other."""
    return float(_DOT * min(1.0, _FEW / max(number, 1)) ** 0.75)


def _draw_strip(axes: Axes, strip: _Strip, unit: Measure, middle: float, height: float) -> None:
    colour = series(strip.index)
    top, bottom = middle - height / 2, middle + height / 2
    mean = strip.mean
    if mean is not None and math.isfinite(mean.low):
        axes.fill_betweenx(
            [top, bottom], mean.low / unit.per, mean.high / unit.per, color=colour, alpha=0.2, lw=0
        )
    for lost in (False, True):
        chosen = [place for place, one in enumerate(strip.lost) if one is lost]
        axes.scatter(
            [strip.weights[place] / unit.per for place in chosen],
            [middle + strip.offsets[place] * height * 0.86 for place in chosen],
            s=_dot(len(strip.weights)), marker="x" if lost else marker(strip.index), zorder=3,
            clip_on=False,
            facecolors=colour, edgecolors=None if lost else tint("paper"),
            linewidths=1.5 if lost else 0.6,
        )  # fmt: skip
    if mean is not None and math.isfinite(mean.value):
        axes.plot([mean.value / unit.per] * 2, [top, bottom], color=colour, lw=2.2, zorder=2)
