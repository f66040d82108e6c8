"""The map of places: which code stands where."""

from __future__ import annotations

from dataclasses import dataclass

from reports.parts.cautions import for_sheets
from reports.sheets.frame import framed
from reports.wording.names import printable, shorten, treatment_names, unit_word
from trials.layout import Layout
from trials.trial import Trial

__all__ = ["shelf_map"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """One place of the map."""

    position: int
    code: str
    treatment: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Block:
    """One block of the map."""

    name: str
    places: tuple[_Place, ...]


def shelf_map(trial: Trial, layout: Layout) -> str:
    """Give the map of places, block by block.

    Parameters
    ----------
    trial : Trial
        A blind one has no treatments on its map.
    layout : Layout
        The drawn places.

    Returns
    -------
    str
        One HTML document for A4 and Letter.
    """
    blocks = tuple(_block(trial, layout, name) for name in layout.blocks)
    key = () if trial.blind else tuple(treatment_names(trial).items())
    unit = unit_word(trial)
    return framed(
        "shelf_map.html",
        trial,
        kind="Map of places",
        page_style="@page { margin: 12mm; }",
        lines=(
            f"Put each {unit} where its code stands, counted from the left. Do not swap: the "
            "places were drawn by lot, and that is what makes the trial fair.",
        ),
        cautions=for_sheets("shelf map"),
        blocks=blocks,
        key=key,
    )


def _block(trial: Trial, layout: Layout, name: str) -> _Block:
    mine = sorted(
        (slot for slot in layout.slots if slot.block == name), key=lambda one: one.position
    )
    return _Block(
        name=shorten(printable(name), 60),
        places=tuple(
            _Place(
                position=slot.position,
                code=slot.code,
                treatment="" if trial.blind else shorten(printable(slot.treatment), 14),
            )
            for slot in mine
        ),
    )
