"""A layout drawn into its trial folder: everything is made first, then put in place."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

from pinset.earlier import keep_earlier, was_cut_short
from pinset.version import __version__
from trials.designs import draw
from trials.holding import holding
from trials.layout import Layout
from trials.layout_file import LAYOUT_FILE
from trials.lock import LOCK_FILE, Lock, make_lock
from trials.problems import Refused
from trials.reading.record_book import make_record_book
from trials.records import BOOK_FILE
from trials.trial import Trial
from trials.trial_file import read_trial
from trials.writing import stage

__all__ = ["PRINT_FOLDER", "Drawn", "draw_into", "printed_sheets"]

PRINT_FOLDER = "print"


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """What a draw made.

    Parameters
    ----------
    layout : Layout
    lock : Lock
    files : tuple of pathlib.Path
        Written.
    kept : pathlib.Path or None
        Where an earlier layout was moved to.
    """

    layout: Layout
    lock: Lock
    files: tuple[Path, ...]
    kept: Path | None


def draw_into(folder: Path, *, redraw: bool, now: dt.datetime) -> Drawn:
    """Draw the layout of a trial folder and write all that belongs to it.

    Parameters
    ----------
    folder : pathlib.Path
    redraw : bool
        Whether to draw although there is a layout; the earlier one, with its record book, is
        moved unchanged into a folder of its own.
    now : datetime.datetime
        The moment of the draw, with time zone.

    Returns
    -------
    Drawn

    Raises
    ------
    Problems
        The plan has mistakes.
    Refused
        There is a layout, and `redraw` is false.
    """
    trial = read_trial(folder)
    with holding(folder):
        return _draw_into(folder, trial, redraw=redraw, now=now)


def _draw_into(folder: Path, trial: Trial, *, redraw: bool, now: dt.datetime) -> Drawn:
    there = [name for name in (LAYOUT_FILE, LOCK_FILE, BOOK_FILE) if (folder / name).exists()]
    refusal = (
        f"There is a layout in “{folder}” already, and bags may carry its labels; it was left "
        "as it is. To draw again and keep the old one: add --redraw."
    )
    if LOCK_FILE in there and not redraw:
        raise Refused(refusal)
    layout = draw(trial)
    lock = make_lock(trial, layout, drawn=now, version=__version__)
    contents: dict[str, str | bytes] = {
        **{f"{PRINT_FOLDER}/{name}": html for name, html in printed_sheets(trial, layout).items()},
        BOOK_FILE: make_record_book(trial, layout),
        LAYOUT_FILE: layout.to_csv(),
        LOCK_FILE: lock.to_json(),  # last: a folder with a lock is whole
    }
    carried_on = was_cut_short(folder, contents)
    if there and not redraw and not carried_on:
        raise Refused(refusal)
    with stage(folder, contents) as place:
        kept = None if carried_on and there else keep_earlier(folder, there)
        place()
    return Drawn(
        layout=layout, lock=lock, files=tuple(folder / name for name in contents), kept=kept
    )


def printed_sheets(trial: Trial, layout: Layout) -> dict[str, str]:
    """Give every sheet to be printed, by file name.

    Parameters
    ----------
    trial : Trial
    layout : Layout

    Returns
    -------
    dict of str to str
        HTML.
    """
    from reports.sheets import LABEL_SIZES, labels, record_sheet, shelf_map
    from reports.sheets.calendar_sheet import calendar_sheet
    from reports.sheets.mixing_sheet import mixing_sheet

    sheets = {f"labels-{size}.html": labels(trial, layout, size=size) for size in LABEL_SIZES}
    sheets["record-sheet.html"] = record_sheet(trial, layout)
    sheets["shelf-map.html"] = shelf_map(trial, layout)
    sheets["mixing-sheet.html"] = mixing_sheet(trial, layout)
    sheets["calendar.html"] = calendar_sheet(trial)
    return sheets
