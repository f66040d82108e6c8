"""Units lost of units made, by treatment, with the range that fits."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from analyses.analysis import Analysis
from analyses.losses.counts import LossCount
from reports.figures.look import Frame, marker, paint, series
from reports.figures.rows import Row, lay_rows, rows_height, rule_lanes
from reports.parts.blocks import Figure
from reports.wording.grammar import be, counted, plural
from reports.wording.losses import has_range, losses_total
from reports.wording.names import treatment_names, unit_word

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_losses"]

_LANE = 0.3


def figure_losses(analysis: Analysis) -> Figure | None:
    """Show the losses of each treatment.

    Parameters
    ----------
    analysis : Analysis
        Treatments without a known fate are left out.

    Returns
    -------
    Figure or None
        None where no fate is known.
    """
    losses = [loss for loss in analysis.losses if loss.made]
    if not losses:
        return None
    trial = analysis.records.trial
    unit, names = unit_word(trial), treatment_names(trial)
    order = [one.code for one in trial.treatments]
    rows = [Row(name=names[one.treatment], note=_note(one), lane=_LANE) for one in losses]
    frame = Frame(
        name="losses", title=losses_total(analysis), height=rows_height(rows),
        alt=f"{plural(unit).capitalize()} lost to contamination in a hundred, a row a treatment. "
        + " ".join(f"{row.name}: {row.note}." for row in rows),
        caption=f"The mark is the share of {plural(unit)} lost"
        + ("; the line is what fits it." if any(map(has_range, losses)) else "."),
    )  # fmt: skip

    def draw(sheet: Sheet, share: float) -> None:
        axes, lanes = lay_rows(sheet, share, rows)
        for loss, (middle, _) in zip(losses, lanes, strict=True):
            _draw(axes, loss, order.index(loss.treatment), middle)
        axes.set_xlim(0, _scale_end(losses))
        rule_lanes(axes, lanes)
        axes.set_xlabel(f"{plural(unit)} lost in a hundred")

    return paint(frame, draw)


def _note(loss: LossCount) -> str:
    batches = f" from {counted(loss.batches, 'batch')}" if loss.batches else ""
    told = f"{loss.lost or 'none'} of {loss.made}{batches} {be(loss.lost)} lost"
    if not has_range(loss):
        return told
    low, high = math.floor(100 * loss.low), math.ceil(100 * loss.high)
    if loss.lost == 0:
        return f"{told}; up to {high} in a hundred fits"
    return f"{told}; between {low} and {high} in a hundred fits"


def _scale_end(losses: list[LossCount]) -> float:
    most = 100 * max(loss.high if has_range(loss) else loss.lost / loss.made for loss in losses)
    return next((end for end in (10, 20, 30, 40, 50, 60, 80) if most < 0.97 * end), 100)


def _draw(axes: Axes, loss: LossCount, index: int, middle: float) -> None:
    colour = series(index)
    if has_range(loss):
        axes.plot(
            [100 * loss.low, 100 * loss.high], [middle] * 2, color=colour, lw=3, alpha=0.45,
            solid_capstyle="round", clip_on=False,
        )  # fmt: skip
    axes.plot(
        [100 * loss.lost / loss.made], [middle], marker=marker(index), color=colour, ms=8,
        clip_on=False,
    )  # fmt: skip
