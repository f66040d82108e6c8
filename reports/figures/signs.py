"""Signs that the drawing type lacks: mended in the PNG, kept as text in the SVG.

A page shows the SVG, whose text the reader's own fonts draw. A PNG has only the fonts of the
machine that made it: letters are looked for in all of them, and pictures such as emoji, of which
text can do without, are left out rather than shown as empty boxes.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Sheet

__all__ = ["TYPE", "mend_signs"]

TYPE = "DejaVu Sans"
"""The type of every figure; matplotlib brings it."""

_MARKS = ("Mn", "Me", "Cf", "Cc")
_NO_REAL_TYPE = ("last resort", "color", "colour")


def mend_signs(sheet: Sheet) -> None:
    """Change the texts of a drawing so that none is shown as an empty box.

    Parameters
    ----------
    sheet : matplotlib figure
        Texts with signs that the type lacks get other fonts of the machine where one has them;
        what none has is left out if it is no letter. A letter that no font has stays a box.
    """
    from matplotlib.text import Text

    for text in sheet.findobj(Text):
        said = text.get_text()
        if said.isascii():
            continue
        lacking = {sign for sign in said if not _may_miss(sign) and not _has(TYPE, sign)}
        if not lacking:
            continue
        others = _others(lacking)
        found = {sign for sign in lacking if any(_has(name, sign) for name in others)}
        text.set_fontfamily([TYPE, *others])
        text.set_text(_without(said, lacking - found))


def _without(said: str, lacking: Iterable[str]) -> str:
    """Leave out pictures that no font has, and the joiners that only held them together."""
    gone = {sign for sign in lacking if not unicodedata.category(sign).startswith("L")}
    if not gone:
        return said
    kept = "".join(sign for sign in said if sign not in gone and sign not in "\u200d\ufe0f")
    return "\n".join(" ".join(line.split(" ")).replace("  ", " ") for line in kept.split("\n"))


def _may_miss(sign: str) -> bool:
    return sign.isspace() or unicodedata.category(sign) in _MARKS


def _others(lacking: Iterable[str]) -> list[str]:
    """Name fonts of this machine that have what is lacking, as few as a simple search finds."""
    missing, chosen = set(lacking), []
    for name in _fonts():
        has = {sign for sign in missing if _has(name, sign)}
        if has:
            chosen.append(name)
            missing -= has
        if not missing:
            break
    return chosen


@cache
def _fonts() -> tuple[str, ...]:
    from matplotlib.font_manager import fontManager

    names = sorted({font.name for font in fontManager.ttflist})
    return tuple(name for name in names if not any(word in name.lower() for word in _NO_REAL_TYPE))


@cache
def _has(name: str, sign: str) -> bool:
    """Whether a font of the machine has a sign; False too where the font cannot be read."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    try:
        path = findfont(FontProperties(family=[name]), fallback_to_default=False)
        return bool(get_font(path).get_char_index(ord(sign)))
    except (OSError, RuntimeError, ValueError):
        return False
