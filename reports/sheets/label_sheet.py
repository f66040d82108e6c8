"""Labels to cut out: a code in large type and as a QR code (ISO/IEC 18004)."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from reports.parts.cautions import for_sheets
from reports.sheets.frame import framed, place_of
from reports.wording.names import printable, shorten
from trials.layout import Layout, Slot
from trials.trial import Trial

__all__ = ["LABEL_SIZES", "Grid", "labels"]

_PRINTABLE_WIDTH, _PRINTABLE_HEIGHT = 190.0, 252.0
"""Millimetres that A4 and Letter both offer inside margins of 10 mm, a running line taken off."""

_HEADING_HEIGHT = 36.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A size of label and how many fit on a page.

    Parameters
    ----------
    width, height : float
        Of one label, in mm.
    code_points : float
        Size of the readable code, in points.
    """

    width: float
    height: float
    code_points: float

    @property
    def columns(self) -> int:
        """Labels side by side on A4 and Letter."""
        return int(_PRINTABLE_WIDTH // self.width)

    @property
    def rows(self) -> int:
        """Labels below each other on A4 and Letter."""
        return int(_PRINTABLE_HEIGHT // self.height)

    @property
    def first_rows(self) -> int:
        """Labels below each other on the first page, under its heading."""
        return int((_PRINTABLE_HEIGHT - _HEADING_HEIGHT) // self.height)


LABEL_SIZES: dict[str, Grid] = {
    "38x21": Grid(width=38, height=21, code_points=15),
    "63x38": Grid(width=63, height=38, code_points=24),
    "95x62": Grid(width=95, height=62, code_points=40),
}
"""By name: width x height in mm."""


_BEFORE_NUMBER = re.compile(r" (?=\d)")
"""A word and its number stay on one line: “place 1” is read at a glance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Label:
    """What stands on one label."""

    code: str
    qr: object
    place: str
    treatment: str


def labels(trial: Trial, layout: Layout, *, size: str = "63x38") -> str:
    """Give the labels of a trial, in the order in which the units stand.

    Parameters
    ----------
    trial : Trial
        A blind one has no treatment on its labels.
    layout : Layout
        The drawn places.
    size : str
        A key of `LABEL_SIZES`.

    Returns
    -------
    str
        One HTML document for A4 and Letter.

    Raises
    ------
    ValueError
        A size that is not there.
    """
    if size not in LABEL_SIZES:
        raise ValueError(f"no label size “{size}”; there are {', '.join(LABEL_SIZES)}")
    grid = LABEL_SIZES[size]
    made = [_label(slot, trial) for slot in layout.slots]
    shown = "The treatment is not on them." if trial.blind else "The treatment is on them."
    return framed(
        "labels.html",
        trial,
        kind="Labels",
        page_style=_style(grid),
        lines=(
            f"{len(made)} labels of {grid.width:g} by {grid.height:g} mm, in the order of the "
            f"places. {shown} Print at full size, cut along the lines, and cover with clear tape.",
        ),
        cautions=for_sheets("labels"),
        pages=_pages(made, grid),
    )


def _pages(made: list[_Label], grid: Grid) -> list[list[_Label]]:
    """Deal labels to pages; the first page also holds the heading."""
    first, each = grid.columns * grid.first_rows, grid.columns * grid.rows
    rest = [made[start : start + each] for start in range(first, len(made), each)]
    return [made[:first], *rest]


def _label(slot: Slot, trial: Trial) -> _Label:
    name = "" if trial.blind else shorten(printable(trial.treatment(slot.treatment).name), 40)
    place = _BEFORE_NUMBER.sub("\N{NO-BREAK SPACE}", place_of(slot))
    return _Label(code=slot.code, qr=_qr(slot.code), place=place, treatment=name)


@lru_cache(maxsize=20_000)  # every size of label has it
def _qr(code: str) -> object:
    """Draw the code as a QR code with a quarter of it spare against dirt."""
    import segno
    from markupsafe import Markup

    drawn = segno.make(code, error="q", micro=False).svg_inline(
        border=4, omitsize=True, svgclass=None, lineclass=None, title=f"QR code of {code}"
    )
    return Markup(drawn.replace("<svg ", '<svg role="img" ', 1))


def _style(grid: Grid) -> str:
    square = min(grid.height - 3, grid.width * 0.45)
    small = max(6.5, min(10.0, grid.code_points * 0.42))
    return f"""@page {{ margin: 10mm; }}
.labels {{
  display: grid; grid-template-columns: repeat({grid.columns}, {grid.width:g}mm);
  grid-auto-rows: {grid.height:g}mm;
}}
.label {{
  border: 0.2mm dashed #777; display: flex; align-items: center; gap: 1mm; padding: 1mm;
  overflow: hidden; break-inside: avoid;
}}
.qr {{ flex: 0 0 {square:g}mm; height: {square:g}mm; }}
.qr svg {{ width: 100%; height: 100%; display: block; }}
.words {{ min-width: 0; flex: 1; }}
.words p {{ margin: 0; font-size: {small:g}pt; line-height: 1.15; }}
.words .code {{ font-size: {grid.code_points:g}pt; line-height: 1.05; letter-spacing: 0; }}
.words .treatment {{ font-weight: 700; max-height: 3.5em; overflow: hidden; }}
section + section {{ break-before: page; }}
@media screen {{ main {{ overflow-x: auto; }} }}"""
