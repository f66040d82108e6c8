"""Axes as every figure has them: a base line, no frame, and faint lines to read along."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from reports.figures.look import WIDTH, tint

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["inch_axes", "key_above", "key_height", "plain_axes", "rule_levels", "strip_frame"]

_KEY_LINE = 0.17  # inches of one line of a key


def plain_axes(sheet: Sheet, box: tuple[float, float, float, float]) -> Axes:
    """Add axes with nothing but a base line and its ticks.

    Parameters
    ----------
    sheet : matplotlib figure
        Where.
    box : tuple of float
        Left, bottom, width, height as shares of the sheet.
    """
    axes = sheet.add_axes(box)
    strip_frame(axes)
    axes.spines["bottom"].set_color(tint("muted"))
    return axes


def inch_axes(
    sheet: Sheet,
    share: float,
    height: float,
    *,
    left: float,
    foot: float,
    top: float,
    right: float = 0.2,
) -> Axes:
    """Add plain axes that fill a drawing but for margins in inches.

    Parameters
    ----------
    sheet : matplotlib figure
        Where.
    share : float
        Share of the sheet's height that the drawing may fill, from the bottom.
    height : float
        Height of the drawing, inches.
    left, foot, top, right : float
        Margins, inches.
    """
    whole = height / share
    return plain_axes(
        sheet,
        (left / WIDTH, foot / whole, (WIDTH - left - right) / WIDTH, (height - foot - top) / whole),
    )


def strip_frame(axes: Axes) -> None:
    """Leave nothing of the frame but the base line, and no ticks on the upright axis."""
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.tick_params(axis="y", length=0)


def rule_levels(axes: Axes, axis: Literal["x", "y"] = "y") -> None:
    """Draw faint lines at the ticks of an axis, below everything else."""
    axes.grid(axis=axis, color=tint("rule"), linewidth=0.7)
    axes.set_axisbelow(True)


def key_height(lines: int) -> float:
    """Give the height in inches of a key with so many lines and a title; 0 for a line alone."""
    return _KEY_LINE * (lines + 1) if lines > 1 else 0.0


def key_above(axes: Axes, title: str) -> None:
    """Write what the lines are above the scale, where it hides none of them.

    Parameters
    ----------
    axes : Axes
        With labelled lines, and `key_height` of room above.
    title : str
        What tells the lines apart.
    """
    axes.legend(
        fontsize=8, loc="lower left", bbox_to_anchor=(0, 1), title=title, title_fontsize=8,
        alignment="left", frameon=False, borderaxespad=0.2,
    )  # fmt: skip
