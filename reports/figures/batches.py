"""Units lost in each batch: one mark a batch, so that a bad batch is seen as one."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING

from analyses.analysis import Analysis
from analyses.losses.table import BatchLoss
from reports.figures.look import Frame, marker, paint, series, tint
from reports.figures.rows import Row, lay_rows, rows_height, rule_lanes
from reports.parts.blocks import Figure
from reports.wording.grammar import counted, listed, plural
from reports.wording.losses import losses_total
from reports.wording.names import treatment_names, unit_word

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_batches"]

_LANE, _MOST_LISTED = 0.62, 12
_NEAR = 3.0


def figure_batches(analysis: Analysis) -> Figure | None:
    """Show the share that each batch lost.

    Parameters
    ----------
    analysis : Analysis
        With its batches.

    Returns
    -------
    Figure or None
        None where no batch is known.
    """
    if not analysis.batches:
        return None
    trial = analysis.records.trial
    unit, names = unit_word(trial), treatment_names(trial)
    codes = [one.code for one in trial.treatments]
    sides = {code: [one for one in analysis.batches if one.treatment == code] for code in codes}
    sides = {code: side for code, side in sides.items() if side}
    rows = [Row(name=names[code], note=_note(side), lane=_LANE) for code, side in sides.items()]
    frame = Frame(
        name="batches", title=losses_total(analysis), height=rows_height(rows),
        alt=f"One mark for each batch, by how many {plural(unit)} of a hundred it lost, a row a "
        "treatment. " + " ".join(f"{row.name}: {row.note}." for row in rows),
        caption=f"Each mark is one batch; the upright line is the mean of the batches. The "
        f"{plural(unit)} of a batch were treated together, so a batch counts once.",
    )  # fmt: skip

    def draw(sheet: Sheet, share: float) -> None:
        axes, lanes = lay_rows(sheet, share, rows)
        for (code, side), lane in zip(sides.items(), lanes, strict=True):
            _draw(axes, side, codes.index(code), lane)
        axes.set_xlim(-1.5, _scale_end(analysis.batches))
        rule_lanes(axes, lanes)
        axes.set_xlabel(f"{plural(unit)} lost in a hundred, by batch")

    return paint(frame, draw)


def _note(side: list[BatchLoss]) -> str:
    made = sorted({one.made for one in side})
    size = f"{made[0]}" if len(made) == 1 else f"{made[0]} to {made[-1]}"
    told = f"{counted(len(side), 'batch')} of {size}"
    if len(side) > _MOST_LISTED:
        none = sum(one.lost == 0 for one in side)
        return f"{told}; {none} lost none, the worst lost {max(one.lost for one in side)}"
    return f"{told}; lost: {listed(str(one.lost) for one in side)}"


def _share(one: BatchLoss) -> float:
    return 100 * one.lost / one.made


def _scale_end(batches: tuple[BatchLoss, ...]) -> float:
    most = max(_share(one) for one in batches)
    return next((end for end in (10, 20, 30, 40, 50, 60, 80) if most < 0.97 * end), 102)


def _draw(axes: Axes, side: list[BatchLoss], index: int, lane: tuple[float, float]) -> None:
    middle, height = lane
    colour = series(index)
    shares = [_share(one) for one in side]
    axes.plot(
        [sum(shares) / len(shares)] * 2, [middle - height / 2, middle + height / 2],
        color=colour, lw=2.2, alpha=0.55, zorder=1,
    )  # fmt: skip
    axes.scatter(
        shares, [middle + height * one for one in _offsets(shares)], s=44, color=colour, zorder=3,
        marker=marker(index), edgecolors=tint("paper"), linewidths=0.7, clip_on=False,
    )  # fmt: skip


def _offsets(shares: list[float]) -> list[float]:
    """Fan out batches of like share, -0.42 to 0.42 of the lane, so that each is seen."""
    near = [round(share / _NEAR) for share in shares]
    many, seen = Counter(near), Counter[int]()
    told = []
    for place in near:
        told.append(_fan(seen[place], many[place]))
        seen[place] += 1
    return told


def _fan(number: int, many: int) -> float:
    if many == 1:
        return 0.0
    spread = min(0.84, 0.22 * (many - 1))
    return math.fsum((-spread / 2, spread * number / (many - 1)))
