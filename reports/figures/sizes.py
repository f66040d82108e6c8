"""The smallest difference that a trial would see, by its size."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reports.figures.axes import inch_axes, key_above, key_height, rule_levels
from reports.figures.look import Frame, marker, paint, series, tint
from reports.parts.blocks import Figure
from reports.wording.grammar import plural
from reports.wording.names import printable, shorten
from reports.wording.size_words import amount, size_lines, what_varies
from trials.sizing.size_question import reach_curve
from trials.sizing.size_rows import Sizing

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_sizes"]

_HEIGHT, _FOOT, _LEFT, _TOP = 3.1, 0.62, 0.55, 0.15


def figure_sizes(sizing: Sizing) -> Figure | None:
    """Draw the smallest difference seen against the number of bags.

    Parameters
    ----------
    sizing : Sizing

    Returns
    -------
    Figure or None
        None where no size within reason sees anything.
    """
    answer = sizing.answer
    sizes = [row.answer.bags_needed or 0 for row in sizing.rows]
    most = max(4 * answer.bags, min(2 * max(sizes), 20 * answer.bags))
    curves = [(row.name, reach_curve(row.answer.question, most)) for row in sizing.rows]
    curves = [(name, points) for name, points in curves if points]
    if not curves:
        return None
    unit = plural(shorten(printable(sizing.unit), 24) or "bag")
    key = key_height(len(curves))
    frame = Frame(
        name="sizes",
        title=size_lines(sizing)[0],
        height=_HEIGHT + key,
        alt="The smallest difference that would be seen falls as the trial grows. "
        + " ".join(_ends(name, points, sizing, unit) for name, points in curves),
        caption=f"Each line: the smallest difference seen with so many {unit}. The upright line "
        "is the trial as planned"
        + (", the level one the difference asked for." if answer.question.worthwhile else "."),
    )

    def draw(sheet: Sheet, share: float) -> None:
        axes = inch_axes(sheet, share, _HEIGHT + key, left=_LEFT, foot=_FOOT, top=_TOP + key)
        for number, (name, points) in enumerate(curves):
            _line(axes, name, points, number)
        _marks(axes, sizing)
        if len(curves) > 1:
            key_above(axes, what_varies(sizing))
        word = f"{unit} in 100" if answer.question.outcome == "contamination" else "%"
        axes.set_ylabel(f"difference, {word}")
        axes.set_xlabel(f"{unit} in the whole trial")

    return paint(frame, draw)


def _ends(name: str, points: list[tuple[int, float]], sizing: Sizing, unit: str) -> str:
    (few, much), (many, little) = points[0], points[-1]
    return (
        f"If {name}: {amount(much, sizing, bare=True)} with {few} {unit}, "
        f"{amount(little, sizing, bare=True)} with {many}."
    )


def _line(axes: Axes, name: str, points: list[tuple[int, float]], number: int) -> None:
    bags, reach = zip(*points, strict=True)
    axes.plot(
        bags, [100 * one for one in reach], color=series(number + 1), marker=marker(number + 1),
        ms=4, lw=1.6, markevery=6, label=name,
    )  # fmt: skip


def _marks(axes: Axes, sizing: Sizing) -> None:
    answer = sizing.answer
    axes.set_xscale("log")
    low, high = axes.get_xlim()
    ticks = [
        step * 10**power
        for power in range(7)
        for step in (1, 2, 5)
        if low <= step * 10**power <= high
    ]
    axes.set_xticks(ticks, [str(tick) for tick in ticks], minor=False)
    axes.minorticks_off()
    axes.set_ylim(0, min(axes.get_ylim()[1], 100 * 4 * (answer.reach or 0.25)))
    rule_levels(axes)
    axes.axvline(answer.bags, color=tint("ink"), lw=1.2)
    if answer.question.worthwhile:
        axes.axhline(
            100 * answer.question.worthwhile, color=tint("zone edge"), lw=1.2, ls=(0, (4, 2))
        )
