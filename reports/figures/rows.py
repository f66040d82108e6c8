"""Figures made of rows: a name, a note under it, and a lane to draw in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from reports.figures.axes import plain_axes
from reports.figures.look import WIDTH, tint
from reports.figures.wrapping import wrapped
from reports.wording.names import printable

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["Row", "lay_rows", "rows_height", "rule_lanes"]

_NAME, _NOTE = 10.0, 8.5
_NAME_LINE, _NOTE_LINE = 0.18, 0.16
_GAP, _FOOT, _SIDE, _RIGHT = 0.16, 0.62, 0.12, 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row.

    Parameters
    ----------
    name, note : str
        Written above the lane, the name in bold.
    lane : float
        Height of the lane in inches.
    """

    name: str
    note: str
    lane: float


def rows_height(rows: Sequence[Row], *, foot: float = _FOOT) -> float:
    """Give the height in inches of a figure made of rows.

    Parameters
    ----------
    rows : sequence of Row
        From the top down.
    foot : float
        Room for the axis below, in inches.
    """
    return sum(_head(row) + row.lane + _GAP for row in rows) + foot


def lay_rows(
    sheet: Sheet, share: float, rows: Sequence[Row], *, foot: float = _FOOT, left: float = _SIDE
) -> tuple[Axes, list[tuple[float, float]]]:
    """Write the names of rows and give axes with the lanes to draw in.

    Parameters
    ----------
    sheet : matplotlib figure
        Where.
    share : float
        Share of the sheet's height below its title.
    rows : sequence of Row
        From the top down.
    foot, left : float
        Room below and at the left, in inches.

    Returns
    -------
    tuple of (matplotlib axes, list of (float, float))
        The y axis runs in inches from the top down; each lane is its middle and its height.
    """
    height = rows_height(rows, foot=foot)
    deep = height - foot
    whole = height / share
    axes = plain_axes(
        sheet, (left / WIDTH, foot / whole, (WIDTH - left - _RIGHT) / WIDTH, deep / whole)
    )
    axes.set_ylim(deep, 0)
    axes.set_yticks([])
    lanes, top = [], 0.0
    for row in rows:
        _write(sheet, row, y=(height - top) / whole, whole=whole)
        middle = top + _head(row) + row.lane / 2
        lanes.append((middle, row.lane))
        top += _head(row) + row.lane + _GAP
    return axes, lanes


def rule_lanes(axes: Axes, lanes: Sequence[tuple[float, float]]) -> None:
    """Draw the scale's light rules inside the lanes only, clear of the names.

    Parameters
    ----------
    axes : matplotlib axes
        With its limits settled.
    lanes : sequence of (float, float)
        As given by `lay_rows`.
    """
    low, high = axes.get_xlim()
    ticks = [tick for tick in axes.get_xticks() if low <= tick <= high]
    axes.set_xlim(low, high)
    for middle, height in lanes:
        edges = middle - height / 2, middle + height / 2
        axes.vlines(ticks, *edges, color=tint("rule"), linewidth=0.7, zorder=0)


def _write(sheet: Sheet, row: Row, *, y: float, whole: float) -> None:
    for line in _lines(row.name, _NAME, bold=True):
        sheet.text(_SIDE / WIDTH, y, line, size=_NAME, weight="bold", va="top", ha="left")
        y -= _NAME_LINE / whole
    for line in _lines(row.note, _NOTE, bold=False) if row.note else ():
        sheet.text(_SIDE / WIDTH, y, line, size=_NOTE, va="top", ha="left", color=tint("muted"))
        y -= _NOTE_LINE / whole


def _lines(text: str, points: float, *, bold: bool) -> list[str]:
    return wrapped(printable(text), WIDTH - 2 * _SIDE, points, bold=bold, most=2)


def _head(row: Row) -> float:
    notes = len(_lines(row.note, _NOTE, bold=False)) if row.note else 0
    return len(_lines(row.name, _NAME, bold=True)) * _NAME_LINE + notes * _NOTE_LINE + 0.05
