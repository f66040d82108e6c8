"""The smallest difference that rehearsed trials would see, by their size."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analyses.rehearsing.simulated_size import SimulatedSize
from reports.figures.axes import inch_axes, rule_levels
from reports.figures.look import Frame, paint, series, tint
from reports.parts.blocks import Figure
from reports.wording.grammar import counted, plural
from reports.wording.names import unit_word
from reports.wording.simulated_size_words import difference_words, simulated_size_lines

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Sheet

__all__ = ["figure_simulated_sizes"]

_HEIGHT, _FOOT, _LEFT, _TOP = 3.1, 0.62, 0.65, 0.15


def figure_simulated_sizes(size: SimulatedSize) -> Figure | None:
    """Draw the rehearsed sizes with their errors, and a guess between them.

    Parameters
    ----------
    size : SimulatedSize

    Returns
    -------
    Figure or None
        None where no difference would be seen.
    """
    points = [one for one in (size.planned, size.needed) if one is not None]
    seen = [(one.bags, one.reach, one.reach_error) for one in points if one.reach is not None]
    if not seen:
        return None
    unit = unit_word(size.trial)
    first_bags, first_reach, _ = seen[0]
    last_bags, last_reach, _ = seen[-1]
    fall = -0.5
    if last_bags > first_bags:
        fall = float(np.log(last_reach / first_reach) / np.log(last_bags / first_bags))
    bags = np.linspace(seen[0][0], max(2 * seen[0][0], 1.3 * last_bags), 60)
    frame = Frame(
        name="sizes",
        title=simulated_size_lines(size)[0],
        height=_HEIGHT,
        alt="The smallest difference that would be seen falls as the trial grows: "
        + ", ".join(f"{difference_words(reach, size)} with {counted(count, unit)}"
                    for count, reach, _ in seen) + ".",
        caption="Marks: rehearsed sizes with two standard errors. Line: a guess in between and "
        "beyond"
        + (". Level line: the difference asked for." if size.worthwhile else "."),
    )  # fmt: skip

    def draw(sheet: Sheet, share: float) -> None:
        axes = inch_axes(sheet, share, _HEIGHT, left=_LEFT, foot=_FOOT, top=_TOP)
        axes.plot(bags, first_reach * (bags / first_bags) ** fall, color=series(1), lw=1.4)
        counts, reaches, errors = zip(*seen, strict=True)
        axes.errorbar(
            counts, reaches, yerr=[2 * one for one in errors], fmt="o", ms=6, color=series(1),
            capsize=4, lw=1.4,
        )  # fmt: skip
        if size.worthwhile:
            axes.axhline(size.worthwhile, color=tint("zone edge"), lw=1.2, ls=(0, (4, 2)))
        axes.axvline(size.planned.bags, color=tint("ink"), lw=1.0)
        axes.set_ylim(bottom=0)
        rule_levels(axes)
        axes.set_ylabel(f"difference, {size.unit}")
        axes.set_xlabel(f"{plural(unit)} in the whole trial")

    return paint(frame, draw)
