"""Where the units went: one small square each, from made to analysed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyses.analysis import Analysis
from analyses.flow import FlowStep
from reports.figures.look import WIDTH, Frame, paint, tint
from reports.figures.rows import Row, lay_rows, rows_height
from reports.parts.blocks import Figure
from reports.wording.grammar import counted, plural
from reports.wording.names import treatment_names, unit_word

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet
    from matplotlib.patches import PathPatch

__all__ = ["FATES_SHOWN", "figure_flow"]

_Line = tuple[tuple[float, float], ...]

FATES_SHOWN: tuple[tuple[str, str, tuple[_Line, ...]], ...] = (
    ("fruited", "fruited and lasted", ()),
    ("gave_nothing", "gave nothing", ()),
    ("incomplete", "total unknown", (((0.2, 0.8), (0.8, 0.2)),)),
    ("still_going", "still going", (((0.35, 0.25), (0.65, 0.5), (0.35, 0.75)),)),
    (
        "contaminated",
        "contaminated",
        (((0.25, 0.25), (0.75, 0.75)), ((0.25, 0.75), (0.75, 0.25))),
    ),
    ("lost_otherwise", "lost otherwise", (((0.25, 0.5), (0.75, 0.5)),)),
    ("not_recorded", "not recorded", ()),
)
"""Field of `FlowStep`, its words, and the lines of its sign in a square of side 1."""

_KEY, _KEY_SIDE = 0.5, 0.155
_FEW = 150


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
    side = _KEY_SIDE if max(step.made for step in steps) <= _FEW else _KEY_SIDE / 2
    rows = [
        Row(name=names[step.treatment], note=_note(step), lane=side * _lines(step.made, side))
        for step in steps
    ]
    made, fruited = (sum(getattr(step, name) for step in steps) for name in ("made", "fruited"))
    frame = Frame(
        name="flow", title=f"Of {counted(made, unit)} made, {fruited} fruited and lasted.",
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
            _draw(axes, step, middle - height / 2, side)
        _key(axes, steps, axes.get_ylim()[0] + 0.12)

    return paint(frame, draw)


def _note(step: FlowStep) -> str:
    said = [
        f"{getattr(step, field)} {words}" for field, words, _ in FATES_SHOWN if getattr(step, field)
    ]
    return f"{step.made} made: {', '.join(said)}"


def _counts_how(analysis: Analysis) -> str:
    unit = unit_word(analysis.records.trial)
    told = f"“Per {unit} started” counts all whose total is known, with lost ones as what they gave"
    return f"{told}; “per {unit} that fruited” leaves out the lost {plural(unit)}."


def _per_line(side: float) -> int:
    return int((WIDTH - 0.3) / side)


def _lines(made: int, side: float) -> int:
    return -(-made // _per_line(side))


def _width(axes: Axes) -> float:
    """Width of the axes in inches, so that squares are square."""
    return float(axes.get_position().width * WIDTH)


def _draw(axes: Axes, step: FlowStep, top: float, side: float) -> None:
    place = 0
    for field, _, sign in FATES_SHOWN:
        corners = []
        for _ in range(getattr(step, field)):
            line, column = divmod(place, _per_line(side))
            corners.append((column * side, top + line * side))
            place += 1
        _squares(axes, corners, side, field, sign)


def _squares(
    axes: Axes, corners: Sequence[tuple[float, float]], side: float, field: str,
    sign: tuple[_Line, ...],
) -> None:  # fmt: skip
    """Draw all squares of one fate as one shape, so that a large trial stays a small file."""
    if not corners:
        return
    colour = _colour(field)
    inner = side * 0.8
    frame: _Line = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0), (0.0, 0.0))
    full = colour if field == "fruited" else "none"
    dashed = (0, (2, 1)) if field == "not_recorded" else "solid"
    thick = 1.0 if side == _KEY_SIDE else 0.6
    shape = _shape(corners, inner, (frame,), facecolor=full, edgecolor=colour, lw=thick, ls=dashed)
    axes.add_patch(shape)
    if sign:
        axes.add_patch(
            _shape(corners, inner, sign, facecolor="none", edgecolor=colour, lw=1.2 * thick)
        )


def _shape(
    corners: Sequence[tuple[float, float]], inner: float, lines: Sequence[_Line], **looks: object
) -> PathPatch:
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    points, codes = [], []
    for x, y in corners:
        for line in lines:
            points += [(x + inner * across, y + inner * down) for across, down in line]
            codes += [Path.MOVETO, *[Path.LINETO] * (len(line) - 1)]
    shape = PathPatch(Path(points, codes), clip_on=False)
    shape.set(**looks)
    return shape


def _colour(field: str) -> str:
    if field in ("contaminated", "lost_otherwise"):
        return tint("series 1")
    return tint("muted") if field == "not_recorded" else tint("series 2")


def _key(axes: Axes, steps: Sequence[FlowStep], y: float) -> None:
    """Explain the squares that occur, in lines as wide as the figure."""
    x, side = 0.0, _KEY_SIDE
    for field, words, sign in FATES_SHOWN:
        if not any(getattr(step, field) for step in steps):
            continue
        wide = side * 1.2 + 0.082 * len(words) + 0.14
        if x + wide > _width(axes):
            x, y = 0.0, y + 0.2
        _squares(axes, [(x, y)], side, field, sign)
        middle = y + side * 0.4
        axes.text(x + side * 1.1, middle, words, size=8.5, va="center", color=tint("muted"))
        x += wide
