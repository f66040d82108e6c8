"""The map of places, shaded by what each unit gave beside its like, to see a gradient."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analyses.analysis import Analysis
from analyses.layouts.place_trend import PlaceStory, PlaceTrend, place_story
from reports.figures.look import STEPS, WIDTH, Frame, paint, step, tint
from reports.figures.statistical import statistical_drawing
from reports.parts.blocks import Figure
from reports.wording.grammar import plural
from reports.wording.names import printable, shorten, unit_word
from reports.wording.numbers import Measure, measure, number, round_span, step_for

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_places"]

_NAMES, _RIGHT, _FOOT, _TOP = 0.86, 0.12, 0.62, 0.24
_CELL, _FLAT = 0.27, 0.12
_MOST_PLACES, _MOST_CELLS = 24, 600
_WIDE_ENOUGH = 0.27
_DARK = STEPS - 2


@dataclass(frozen=True, slots=True, kw_only=True)
class _Map:
    """Cells by line and place: the shade (NaN where there is none) and what is written."""

    lines: tuple[str, ...]
    shades: np.ndarray
    texts: np.ndarray


def figure_places(analysis: Analysis) -> Figure | None:
    """Show where the units stood and what they gave.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    Figure or None
        None where there are no blocks to lay out, or more places than a page can show.
    """
    layout = analysis.records.layout
    wide = max((slot.position for slot in layout.slots), default=0)
    if len(layout.blocks) < 2 or wide > _MOST_PLACES or len(layout.blocks) * wide > _MOST_CELLS:
        return None
    story = place_story(analysis.records, analysis.unit)
    if not story.left_g:
        return None
    chosen = _choose(analysis, story, wide)
    high = _CELL if wide * _WIDE_ENOUGH <= WIDTH - _NAMES and len(chosen.lines) <= 24 else _FLAT
    title = _title(analysis, story)
    frame = Frame(
        name="places", title=title, height=high * len(chosen.lines) + _FOOT + _TOP,
        alt=f"A map of the places, a line a {_block(analysis)}. {_told(analysis, story)}",
        caption=_caption(analysis),
    )  # fmt: skip

    def draw(sheet: Sheet, share: float) -> None:
        whole = frame.height / share
        box = (
            _NAMES / WIDTH, _FOOT / whole, (WIDTH - _NAMES - _RIGHT) / WIDTH,
            high * len(chosen.lines) / whole,
        )  # fmt: skip
        axes = sheet.add_axes(box)
        _draw(axes, chosen, written=high == _CELL)
        _key(sheet, whole, unit_word(analysis.records.trial))

    return paint(frame, draw)


def _choose(analysis: Analysis, story: PlaceStory, wide: int) -> _Map:
    trial, layout = analysis.records.trial, analysis.records.layout
    unit = measure("g", trial.weights)
    totals = dict(zip(analysis.bags["code"], analysis.bags["total_g"] / unit.per, strict=True))
    fine = step_for(max(totals[code] for code in story.left_g) / 20, finest=unit.finest)
    cuts = np.quantile(list(story.left_g.values()), np.arange(1, STEPS) / STEPS)
    shades = np.full((len(layout.blocks), wide), np.nan)
    texts = np.full(shades.shape, "", dtype=object)
    for slot in layout.slots:
        at = layout.blocks.index(slot.block), slot.position - 1
        if slot.code in story.left_g:
            shades[at] = np.searchsorted(cuts, story.left_g[slot.code], side="right")
            texts[at] = number(totals[slot.code], fine)
        else:
            texts[at] = "×"
    names = tuple(shorten(printable(name), 12) for name in layout.blocks)
    return _Map(lines=names, shades=shades, texts=texts)


def _block(analysis: Analysis) -> str:
    return printable(analysis.records.trial.design.block) or "block"


def _title(analysis: Analysis, story: PlaceStory) -> str:
    """Say the trend that stands out, or that none does; never that there is none."""
    block = _block(analysis)
    if not story.trends:
        return f"Too few places bore to see whether the {block} or the place on it matters."
    if not story.clear:
        return f"No clear gradient from {block} to {block} or along the {plural(block)}."
    return " ".join(_trend(one, analysis, block) for one in story.clear)


def _trend(one: PlaceTrend, analysis: Analysis, block: str) -> str:
    trial = analysis.records.trial
    unit = measure("g", trial.weights)
    much = _much(one.slope_g, one, unit)
    word = "more" if one.slope_g > 0 else "less"
    where = f"from each {block} to the next" if one.along == "blocks" else "from place to place"
    return f"A {unit_word(trial)} gave about {much} {word} {where}."


def _much(value: float, one: PlaceTrend, unit: Measure) -> str:
    half = (one.high_g - one.low_g) / 2 / unit.per
    return unit.say(value / unit.per, step_for(half, finest=unit.finest))


def _told(analysis: Analysis, story: PlaceStory) -> str:
    """Say each direction with its range, whatever it showed."""
    block, unit = _block(analysis), measure("g", analysis.records.trial.weights)
    said = [_title(analysis, story)]
    for one in story.trends:
        span = round_span(
            one.slope_g / unit.per, one.low_g / unit.per, one.high_g / unit.per,
            finest=unit.finest, marks=(0.0,),
        )  # fmt: skip
        ends = [
            f"{unit.say(end, span.step)} {'more' if end > 0 else 'less'}"
            for end in (span.low, span.high)
        ]
        where = f"{block} to {block}" if one.along == "blocks" else "place to place"
        said.append(f"From {where}, between {ends[0]} and {ends[1]} fits.")
    return " ".join(said)


def _caption(analysis: Analysis) -> str:
    trial = analysis.records.trial
    unit, block = unit_word(trial), _block(analysis)
    return (
        f"Each cell is one {unit}, with what it gave in {measure('g', trial.weights).word}. Shaded "
        f"by how it did beside the others of its own treatment; a cross is a {unit} that was "
        "lost, gave nothing or is of unknown total. "
        f"{plural(block).capitalize()} and places are taken to stand in the order of their "
        "numbers. Looked at afterwards; the lot spreads such differences over all treatments."
    )


def _draw(axes: Axes, chosen: _Map, *, written: bool) -> None:
    from matplotlib.colors import ListedColormap

    statistical_drawing().heatmap(
        chosen.shades, ax=axes, cmap=ListedColormap([step(n) for n in range(STEPS)]),
        vmin=-0.5, vmax=STEPS - 0.5, cbar=False, linewidths=0.8, linecolor=tint("paper"),
        xticklabels=False, yticklabels=chosen.lines,
    )  # fmt: skip
    axes.tick_params(length=0)
    axes.set_yticklabels(axes.get_yticklabels(), rotation=0, size=8 if written else 5)
    places = range(1, chosen.shades.shape[1] + 1)
    shown = [one for one in places if written or one == 1 or one % 5 == 0]
    axes.set_xticks([one - 0.5 for one in shown], [str(one) for one in shown], size=8)
    axes.xaxis.tick_top()
    for (line, place), text in np.ndenumerate(chosen.texts):
        if text and (written or text == "×"):
            shade = chosen.shades[line, place]
            on_dark = np.isfinite(shade) and shade >= _DARK
            axes.text(
                place + 0.5, line + 0.5, text, ha="center", va="center", size=8,
                color=tint("paper") if on_dark else tint("ink"),
            )  # fmt: skip


def _key(sheet: Sheet, whole: float, unit: str) -> None:
    """Explain the shades under the map: five squares from least to most."""
    from matplotlib.patches import Rectangle

    y, side = 0.28, 0.17
    sheet.text(_NAMES / WIDTH, (y + side / 2) / whole, "least", size=8.5, va="center",
               color=tint("muted"))  # fmt: skip
    for n in range(STEPS):
        x = _NAMES + 0.42 + n * (side + 0.03)
        sheet.add_artist(
            Rectangle(
                (x / WIDTH, y / whole),
                side / WIDTH,
                side / whole,
                transform=sheet.transFigure,
                facecolor=step(n),
                edgecolor=tint("muted"),
                linewidth=0.5,
            )
        )
    end = _NAMES + 0.42 + STEPS * (side + 0.03) + 0.03
    sheet.text(end / WIDTH, (y + side / 2) / whole, f"most for a {unit} of its treatment",
               size=8.5, va="center", color=tint("muted"))  # fmt: skip
