"""An earlier layout moved aside unchanged; a draw that was cut short told from a finished one."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping
from pathlib import Path

from trials.layout_file import LAYOUT_FILE
from trials.lock import LOCK_FILE
from trials.problems import Problem, Problems
from trials.records import BAGS_FILE, BOOK_FILE, HARVESTS_FILE

__all__ = ["keep_earlier", "was_cut_short"]

EARLIER_FOLDER = "earlier"
_MOVING = ".part"


def keep_earlier(folder: Path, there: list[str]) -> Path | None:
    """Move what belongs to an earlier layout unchanged into the next free folder of its own.

    A move that was cut short is carried on into the same folder.

    Parameters
    ----------
    folder : pathlib.Path
        The trial folder.
    there : list of str
        Which of layout, lock and record book are in it.

    Returns
    -------
    pathlib.Path or None
        Where they are now; None where there is nothing to keep.
    """
    place = folder / EARLIER_FOLDER
    begun = sorted(place.glob(f"*{_MOVING}"))
    if not there and not begun:
        return None
    if place.is_symlink():
        what = "is a link, and the earlier layout would leave the trial folder"
        mend = "Remove the link and run the same command again."
        raise Problems([Problem(file=EARLIER_FOLDER, what=what, mend=mend)])
    moving = begun[0] if begun else place / f"{_next(place)}{_MOVING}"
    moving.mkdir(parents=True, exist_ok=True)
    # The layout goes after the records that belong to it: while it is here, so may they be.
    records = [BAGS_FILE, HARVESTS_FILE] if LAYOUT_FILE in there else []
    for name in (*records, BOOK_FILE, LAYOUT_FILE, LOCK_FILE):
        if (folder / name).exists() and not (moving / name).exists():
            (folder / name).rename(moving / name)
    kept = place / str(_next(place))
    moving.rename(kept)
    return kept


def was_cut_short(folder: Path, contents: Mapping[str, str | bytes]) -> bool:
    """Whether a draw of this very layout was begun here and cut short before it was locked.

    Parameters
    ----------
    folder : pathlib.Path
        The trial folder.
    contents : mapping of str to (str or bytes)
        What the draw writes, by name.

    Returns
    -------
    bool
        False as soon as anything stands there that the draw would not write just so.
    """
    if any((folder / name).exists() for name in (LOCK_FILE, BAGS_FILE, HARVESTS_FILE)):
        return False
    layout, book = folder / LAYOUT_FILE, folder / BOOK_FILE
    if layout.exists() and layout.read_bytes() != _bytes(contents[LAYOUT_FILE]):
        return False
    return not book.exists() or _cells(book.read_bytes()) == _cells(_bytes(contents[BOOK_FILE]))


def _bytes(content: str | bytes) -> bytes:
    return content.encode("utf-8") if isinstance(content, str) else content


def _cells(book: bytes) -> dict[str, bytes] | None:
    """Give the sheets of a workbook as they are packed; times of saving stand elsewhere."""
    try:
        with zipfile.ZipFile(io.BytesIO(book)) as archive:
            inside = [name for name in archive.namelist() if name.startswith("xl/")]
            return {name: archive.read(name) for name in inside}
    except (zipfile.BadZipFile, OSError, RuntimeError):
        return None


def _next(place: Path) -> int:
    number = 1
    while (place / str(number)).exists():
        number += 1
    return number
