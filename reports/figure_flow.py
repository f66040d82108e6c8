"""Where the units went: one small square each, from made to analysed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyses.analysis import Analysis, FlowStep
from reports.blocks import Figure
from reports.grammar import counted, listed, plural
from reports.look import WIDTH, Frame, paint, tint
from reports.names import treatment_names, unit_word
from reports.rows import Row, lay_rows, rows_height

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

__all__ = ["FATES_SHOWN", "figure_flow"]

FATES_SHOWN: tuple[tuple[str, str, str], ...] = (
    ("fruited", "fruited", ""),
    ("gave_nothing", "gave nothing", "0"),
    ("incomplete", "total unknown", "?"),
    ("still_going", "still going", "…"),
    ("contaminated", "contaminated", "×"),
    ("lost_otherwise", "lost otherwise", "–"),
    ("not_recorded", "not recorded", ""),
)
"""Field of `FlowStep`, its words, and the sign in its square."""

_SIDE, _PER_LINE, _KEY = 0.155, 25, 0.5


def figure_flow(analysis: Analysis) -> Figure | None:
    """Show the fate of every unit.

    Parameters
    ----------
    analysis : Analysis
        With its flow.

    Returns
    -------
    Figure or None
        None where nothing was made.
    """
    steps = [step for step in analysis.flow if step.made]
    if not steps:
        return None
    trial = analysis.records.trial
    unit, names = unit_word(trial), treatment_names(trial)
    rows = [
        Row(name=names[step.treatment], note=_note(step), lane=_SIDE * _lines(step.made))
        for step in steps
    ]
    made, fruited = (sum(getattr(step, name) for step in steps) for name in ("made", "fruited"))
    frame = Frame(
        name="flow", title=f"Of {counted(made, unit)} made, {fruited} fruited.",
        height=rows_height(rows, foot=_KEY),
        alt=f"One square for each {unit}, a row a treatment. "
        + " ".join(f"{row.name}: {row.note}." for row in rows),
        caption=f"Each square is one {unit}. {_counts_how(analysis)}",
    )  # fmt: skip

    def draw(sheet: Sheet, share: float) -> None:
        axes, lanes = lay_rows(sheet, share, rows, foot=_KEY)
        axes.set_xlim(0, _width(axes))
        axes.set_xticks([])
        axes.spines["bottom"].set_visible(False)
        for step, (middle, height) in zip(steps, lanes, strict=True):
            _draw(axes, step, middle - height / 2)
        _key(axes, steps, axes.get_ylim()[0] + 0.12)

    return paint(frame, draw)


def _note(step: FlowStep) -> str:
    said = [
        f"{getattr(step, field)} {words}" for field, words, _ in FATES_SHOWN if getattr(step, field)
    ]
    return f"{step.made} made: {listed(said)}"


def _counts_how(analysis: Analysis) -> str:
    unit = unit_word(analysis.records.trial)
    told = f"“Per {unit} started” counts all whose total is known, with lost ones as what they gave"
    return f"{told}; “per {unit} that fruited” leaves out the lost {plural(unit)}."


def _lines(made: int) -> int:
    return -(-made // _PER_LINE)


def _width(axes: Axes) -> float:
    """Width of the axes in inches, so that squares are square."""
    return float(axes.get_position().width * WIDTH)


def _draw(axes: Axes, step: FlowStep, top: float) -> None:
    place = 0
    for field, _, sign in FATES_SHOWN:
        for _ in range(getattr(step, field)):
            line, column = divmod(place, _PER_LINE)
            _square(axes, column * _SIDE, top + line * _SIDE, field, sign)
            place += 1


def _square(axes: Axes, x: float, y: float, field: str, sign: str) -> None:
    from matplotlib.patches import Rectangle

    full = field == "fruited"
    lost = field in ("contaminated", "lost_otherwise")
    edge = tint("series 1") if lost else tint("series 2")
    edge = tint("muted") if field == "not_recorded" else edge
    side = _SIDE * 0.8
    axes.add_patch(
        Rectangle(
            (x, y), side, side, facecolor=edge if full else "none", edgecolor=edge, lw=1.0,
            ls=(0, (2, 1)) if field == "not_recorded" else "solid", clip_on=False,
        )
    )  # fmt: skip
    if sign:
        axes.text(
            x + side / 2, y + side / 2, sign, color=edge, size=8, weight="bold",
            ha="center", va="center_baseline",
        )  # fmt: skip


def _key(axes: Axes, steps: Sequence[FlowStep], y: float) -> None:
    """Explain the squares that occur, in two columns of a line each."""
    used = [
        (field, words, sign)
        for field, words, sign in FATES_SHOWN
        if any(getattr(step, field) for step in steps)
    ]
    x = 0.0
    for field, words, sign in used:
        wide = _SIDE * 1.2 + 0.082 * len(words) + 0.14
        if x + wide > _width(axes):
            x, y = 0.0, y + 0.2
        _square(axes, x, y, field, sign)
        middle = y + _SIDE * 0.4
        axes.text(x + _SIDE * 1.1, middle, words, size=8.5, va="center", color=tint("muted"))
        x += wide
