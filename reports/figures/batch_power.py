"""Whether more batches or more bags in each would settle the question."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reports.figures.axes import inch_axes, key_above, key_height, rule_levels
from reports.figures.look import Frame, marker, paint, series, tint
from reports.parts.blocks import Figure
from reports.wording.grammar import plural
from reports.wording.names import printable, shorten
from trials.sizing.batch_power import BatchPower, bags_tried, batch_power, batches_tried
from trials.sizing.size_rows import Sizing

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_batch_power"]

_HEIGHT, _FOOT, _LEFT, _TOP = 3.1, 0.62, 0.55, 0.15


def figure_batch_power(sizing: Sizing) -> Figure | None:
    """Draw the power against the number of batches, a line for each size of a batch.

    Parameters
    ----------
    sizing : Sizing

    Returns
    -------
    Figure or None
        None where whole batches are not what is treated, or no difference is asked for.
    """
    question = sizing.answer.question
    rounds = question.rounds
    if question.worthwhile is None or rounds.bags_per_unit < 2 or rounds.unit != "batch":
        return None
    batches, bags = round(rounds.each * rounds.planned), rounds.bags_per_unit
    now, more, fuller = (
        batch_power(question, *pair)
        for pair in ((batches, bags), (2 * batches, bags), (batches, 2 * bags))
    )
    lines = {
        size: [batch_power(question, count, size) for count in batches_tried(batches)]
        for size in bags_tried(bags)
    }
    unit = plural(shorten(printable(sizing.unit), 24) or "bag")
    key = key_height(len(lines))
    frame = Frame(
        name="batch-power",
        title=_title(now, more, fuller, unit),
        height=_HEIGHT + key,
        alt="Chance of settling the question by batches of each treatment, a line for each size "
        "of a batch. " + " ".join(_ends(size, points, unit) for size, points in lines.items()),
        caption=f"{unit.capitalize()} of one batch share its luck, so filling a batch helps less "
        "than heating another. The ring is the trial as planned; the level line is what is asked "
        "for.",
    )

    def draw(sheet: Sheet, share: float) -> None:
        axes = inch_axes(sheet, share, _HEIGHT + key, left=_LEFT, foot=_FOOT, top=_TOP + key)
        for number, (size, points) in enumerate(lines.items()):
            _line(axes, size, points, number)
        _marks(axes, now, question.power)
        key_above(axes, f"{unit} in a batch")
        axes.set_ylabel("settled, times in 100")
        axes.set_xlabel("batches of each treatment")

    return paint(frame, draw)


def _percent(one: BatchPower) -> str:
    share = round(100 * one.power)
    if share >= 100:
        return "over 99"
    return "under 1" if share < 1 else str(share)


def _title(now: BatchPower, more: BatchPower, fuller: BatchPower, unit: str) -> str:
    """Say by numbers whether twice the batches or twice the bags would help more."""
    opening = f"This plan would settle it {_percent(now)} times in 100;"
    if round(100 * more.power) <= round(100 * fuller.power):
        return (
            f"{opening} twice the batches or twice the {unit} in each: {_percent(more)} or "
            f"{_percent(fuller)}."
        )
    return (
        f"{opening} twice the batches make it {_percent(more)}, twice the {unit} in each only "
        f"{_percent(fuller)}."
    )


def _ends(size: int, points: list[BatchPower], unit: str) -> str:
    first, last = points[0], points[-1]
    return (
        f"With {size} {unit} in a batch: {_percent(first)} times in 100 with {first.batches} "
        f"batches, {_percent(last)} with {last.batches}."
    )


def _line(axes: Axes, size: int, points: list[BatchPower], number: int) -> None:
    axes.plot(
        [one.batches for one in points], [100 * one.power for one in points],
        color=series(number + 1), marker=marker(number + 1), ms=4, lw=1.6, markevery=3,
        label=str(size),
    )  # fmt: skip


def _marks(axes: Axes, now: BatchPower, wanted: float) -> None:
    from matplotlib.ticker import MaxNLocator

    axes.set_ylim(0, 103)
    axes.set_xlim(left=0)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    rule_levels(axes)
    axes.axhline(100 * wanted, color=tint("zone edge"), lw=1.2, ls=(0, (4, 2)))
    axes.plot(
        [now.batches], [100 * now.power], marker="o", ms=10, mfc="none", mec=tint("ink"), mew=1.4,
        ls="none",
    )  # fmt: skip
