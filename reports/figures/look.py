"""One look for every figure: tints for light and dark, markers, type, and the painter.

Colour is never the only code: each treatment has its own marker, and rows are named where they
stand. The light tints are unique, so that a page can trade each for its dark partner.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from reports.figures.signs import TYPE, mend_signs
from reports.figures.vector import standing_alone
from reports.figures.wrapping import wrapped
from reports.parts.blocks import Figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Sheet

__all__ = [
    "MARKERS",
    "STEPS",
    "TINTS",
    "WIDTH",
    "Frame",
    "Tint",
    "marker",
    "paint",
    "series",
    "step",
    "tint",
]

WIDTH = 4.2
"""Inches; narrow, so that the type stays readable when a phone shrinks it."""

_TITLE_POINTS, _LINE = 11.0, 0.2
_DOTS_PER_INCH = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class Tint:
    """A colour on light and on dark paper."""

    light: str
    dark: str


TINTS: dict[str, Tint] = {
    "paper": Tint(light="#fdfcf9", dark="#16181b"),
    "ink": Tint(light="#23272c", dark="#ebe8e2"),
    "muted": Tint(light="#5a6068", dark="#b3b8bf"),
    "rule": Tint(light="#d9d6cd", dark="#3d4147"),
    "zone": Tint(light="#e3ecd8", dark="#2b3a25"),
    "zone edge": Tint(light="#66803f", dark="#9dbb74"),
    "step 0": Tint(light="#edeae3", dark="#22262a"),
    "step 1": Tint(light="#d2d3d2", dark="#343a40"),
    "step 2": Tint(light="#b1b6b9", dark="#4b535b"),
    "step 3": Tint(light="#616b73", dark="#a2acb4"),
    "step 4": Tint(light="#333b43", dark="#d9dee1"),
    "series 0": Tint(light="#7d838d", dark="#d3dde0"),
    "series 1": Tint(light="#b0461c", dark="#fb8336"),
    "series 2": Tint(light="#0a474c", dark="#2b9a80"),
    "series 3": Tint(light="#6f2590", dark="#b690cf"),
    "series 4": Tint(light="#a3790f", dark="#e8c670"),
    "series 5": Tint(light="#2f6dbb", dark="#70abfa"),
}
"""Every colour that a figure may use, by its part."""

MARKERS = ("o", "s", "^", "D", "v", "P", "X", "p")
"""One a treatment, in the order of the plan; they differ in shape, not in size alone."""

_SERIES = 6

STEPS = 5
"""Shades of the neutral scale, ``step 0`` the least; on the upper two, type is paper."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """The texts of a figure and the height of what is drawn.

    Parameters
    ----------
    name : str
        File name without ending.
    title, alt, caption : str
        As in `Figure`.
    height : float
        Height of the drawing in inches, the title not counted.
    """

    name: str
    title: str
    alt: str
    caption: str
    height: float


def tint(part: str) -> str:
    """Give the light colour of a part.

    Parameters
    ----------
    part : str
        A key of `TINTS`.
    """
    return TINTS[part].light


def series(index: int) -> str:
    """Give the light colour of a treatment by its place in the plan, the control first."""
    return tint("series 0") if index == 0 else tint(f"series {(index - 1) % (_SERIES - 1) + 1}")


def step(index: int) -> str:
    """Give the light colour of a shade of the neutral scale, 0 the least."""
    return tint(f"step {index}")


def marker(index: int) -> str:
    """Give the marker of a treatment by its place in the plan, the control first."""
    return MARKERS[index % len(MARKERS)]


def paint(frame: Frame, draw: Callable[[Sheet, float], None]) -> Figure:
    """Draw a figure and render it as SVG and PNG.

    Parameters
    ----------
    frame : Frame
        Texts and height.
    draw : callable
        Gets the sheet and the share of its height that the drawing may fill, from the bottom.

    Returns
    -------
    Figure
        The same bytes for the same drawing: no dates and no random marks.
    """
    from matplotlib import rc_context
    from matplotlib.figure import Figure as Sheet

    lines = wrapped(frame.title, WIDTH - 0.2, _TITLE_POINTS, bold=True, most=5)
    head = _LINE * len(lines) + 0.2
    height = frame.height + head
    with rc_context(_settings()), warnings.catch_warnings():
        # A sign that the drawing type lacks: the SVG still has it as text.
        warnings.filterwarnings("ignore", message=".*[Gg]lyph")
        sheet = Sheet(figsize=(WIDTH, height))
        for n, line in enumerate(lines):
            sheet.text(
                0.1 / WIDTH,
                1 - (0.1 + _LINE * n) / height,
                line,
                size=_TITLE_POINTS,
                weight="bold",
                va="top",
                ha="left",
            )
        draw(sheet, frame.height / height)
        svg, png = _rendered(sheet)
    svg = standing_alone(svg, name=frame.name, title=frame.title, alt=frame.alt)
    return Figure(
        name=frame.name, svg=svg, png=png, title=frame.title, alt=frame.alt, caption=frame.caption
    )


def _rendered(sheet: Sheet) -> tuple[str, bytes]:
    drawn = io.StringIO()
    nothing = {"Date": None, "Creator": None, "Format": None, "Type": None}
    sheet.savefig(drawn, format="svg", metadata=nothing)
    mend_signs(sheet)
    return drawn.getvalue(), _dots(sheet)


def _dots(sheet: Sheet) -> bytes:
    """Render at print size in 256 colours, of which a drawing of few needs no more.

    No channel is off by more than a twentieth, and that at edges only; the file is a third of one
    in full colour, and sooner packed.
    """
    import numpy as np
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from PIL import Image

    sheet.set_dpi(_DOTS_PER_INCH)
    canvas: Any = FigureCanvasAgg(sheet)
    canvas.draw()
    picture = Image.fromarray(np.asarray(canvas.buffer_rgba())).convert("RGB")
    few = picture.quantize(method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
    packed = io.BytesIO()
    few.save(packed, "png", dpi=(_DOTS_PER_INCH, _DOTS_PER_INCH))
    return packed.getvalue()


def _settings() -> dict[Any, Any]:
    ink, muted = tint("ink"), tint("muted")
    return {
        "axes.edgecolor": muted,
        "axes.facecolor": "none",
        "axes.labelcolor": muted,
        "axes.linewidth": 0.8,
        "axes.unicode_minus": True,
        "figure.facecolor": tint("paper"),
        "font.family": [TYPE],
        "font.size": 9.5,
        "hatch.color": tint("zone edge"),
        "hatch.linewidth": 0.5,
        "savefig.facecolor": tint("paper"),
        "svg.fonttype": "none",
        "svg.hashsalt": "pinset",
        "text.color": ink,
        # For print and for vectors; it only helps on coarse screens, and takes time.
        "text.hinting": "none",
        # Growers write $ for money, not for formulas.
        "text.parse_math": False,
        "text.usetex": False,
        "xtick.color": muted,
        "xtick.labelsize": 9,
        "ytick.color": muted,
        "ytick.labelsize": 9,
    }
