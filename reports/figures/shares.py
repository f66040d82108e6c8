"""Share of the crop by flush: one bar a treatment, one part a flush."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from analyses.analysis import Analysis
from analyses.flush.story import Expected
from reports.figures.look import Frame, paint, series, tint
from reports.figures.rows import Row, lay_rows, rows_height
from reports.parts.blocks import Figure
from reports.wording.grammar import listed, plural
from reports.wording.names import treatment_names, unit_word

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_shares"]

_LANE, _NARROWEST = 0.34, 7.0


def figure_shares(analysis: Analysis) -> Figure | None:
    """Show what share of the expected crop each flush brings.

    Parameters
    ----------
    analysis : Analysis
        With the story of its flushes.

    Returns
    -------
    Figure or None
        None where fewer than two flushes were picked.
    """
    story = analysis.story
    if story is None or story.picked < 2 or not story.expected:
        return None
    trial = analysis.records.trial
    names = treatment_names(trial)
    order = [one.code for one in trial.treatments]
    parts = {
        code: [one for one in story.expected if one.treatment == code and not one.foretold]
        for code in order
    }
    shown = [code for code in order if parts[code]]
    rows = [Row(name=names[code], note=_note(parts[code]), lane=_LANE) for code in shown]
    frame = Frame(
        name="flush-shares", title=_title([(names[code], parts[code][0]) for code in shown]),
        height=rows_height(rows),
        alt="Share of the expected crop by flush, a bar a treatment. "
        + " ".join(f"{row.name}: {row.note}." for row in rows),
        caption=f"Each bar is all that a {unit_word(trial)} started can be expected to bring, "
        f"{plural(unit_word(trial))} thrown out and flushes that did not come counted in; its "
        "parts are the flushes, in order from the left.",
    )  # fmt: skip

    def draw(sheet: Sheet, share: float) -> None:
        axes, lanes = lay_rows(sheet, share, rows)
        for code, (middle, height) in zip(shown, lanes, strict=True):
            _draw(axes, parts[code], order.index(code), middle, height)
        axes.set_xlim(0, 100)
        axes.set_xlabel("per cent of the crop")

    return paint(frame, draw)


def _title(first: list[tuple[str, Expected]]) -> str:
    shares = [(name, round(100 * one.share.value)) for name, one in first]
    if len(shares) > 3 or len({share for _, share in shares}) == 1:
        low, high = (end(share for _, share in shares) for end in (min, max))
        said = f"{low} %" if low == high else f"{low} % to {high} %"
        return f"The first flush can be expected to bring {said} of the crop."
    said = listed(f"{share} % with {name}" for name, share in shares)
    return f"The first flush can be expected to bring this much of the crop: {said}."


def _note(parts: list[Expected]) -> str:
    return listed(f"flush {one.flush} {100 * one.share.value:.0f} %" for one in parts)


def _draw(axes: Axes, parts: list[Expected], index: int, middle: float, height: float) -> None:
    start = 0.0
    for place, one in enumerate(parts):
        wide = 100 * one.share.value
        if not math.isfinite(wide):
            return
        axes.barh(
            middle, wide, left=start, height=height, color=series(index),
            alpha=max(0.25, 1 - 0.22 * place), edgecolor=tint("paper"), linewidth=1.6,
        )  # fmt: skip
        if wide >= _NARROWEST:
            dark = place < 2
            axes.text(
                start + wide / 2, middle, str(one.flush), ha="center", va="center", size=9,
                weight="bold", color=tint("paper") if dark else tint("ink"),
            )  # fmt: skip
        start += wide
