"""Signs that the drawing type lacks: mended in the PNG, kept as text in the SVG.

A page shows the SVG, whose text the reader's own fonts draw. A PNG has only the fonts of the
machine that made it: letters are looked for in all of them; for pictures such as emoji their names
stand, or, where there is no room, nothing, rather than an empty box.
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
_JOINERS = "\u200d\ufe0f"
_NO_REAL_TYPE = ("last resort", "color", "colour")
_USUAL = 400
_EM, _POINTS_PER_INCH = 0.65, 72.0
_SMALLEST = 0.8
"""Type is made smaller by this much at most, to find room for names."""


def mend_signs(sheet: Sheet) -> None:
    """Change the texts of a drawing so that none is shown as an empty box.

    Parameters
    ----------
    sheet : matplotlib figure
        Texts with signs that the type lacks get other fonts of the machine where one has them;
        a picture that none has gives way to its name. A letter that no font has stays a box.
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
        size = float(text.get_fontsize())
        longest = sheet.get_figwidth() * _POINTS_PER_INCH / (_EM * size)
        mended = _without(said, lacking - found, longest / _SMALLEST)
        text.set_text(mended)
        text.set_fontsize(size * min(1.0, longest / max(1, *map(len, mended.split("\n")))))


def _without(said: str, lacking: Iterable[str], longest: float) -> str:
    """Give the names of pictures that no font has, or, where there is no room, leave them out."""
    gone = {sign for sign in lacking if not unicodedata.category(sign).startswith("L")}
    if not gone:
        return said
    return "\n".join(_line(line, gone, longest) for line in said.split("\n"))


def _line(line: str, gone: set[str], longest: float) -> str:
    named, bare, joined = "", "", False
    for sign in line:
        if sign in gone:
            # Of several held together by joiners, the first names the whole.
            named += "" if joined or unicodedata.category(sign) == "Sk" else f" {_called(sign)} "
            bare += " "
        elif sign not in _JOINERS:
            named, bare = named + sign, bare + sign
        joined = sign in _JOINERS
    named, bare = " ".join(named.split()), " ".join(bare.split())
    return named if not bare or len(named) <= longest else bare


def _called(sign: str) -> str:
    return unicodedata.name(sign, "a sign").lower()


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
def _fonts() -> dict[str, str]:
    """Give the files of the machine's upright fonts of usual weight, by name."""
    from matplotlib.font_manager import fontManager

    usual = [font for font in fontManager.ttflist if font.weight == _USUAL]
    return {
        font.name: font.fname
        for font in sorted(usual, key=lambda one: (one.name, one.fname), reverse=True)
        if font.style == "normal" and not any(word in font.name.lower() for word in _NO_REAL_TYPE)
    }


@cache
def _has(name: str, sign: str) -> bool:
    """Whether a font of the machine has a sign; False too where the font cannot be read."""
    from matplotlib.font_manager import get_font

    try:
        return bool(get_font(_fonts()[name]).get_char_index(ord(sign)))
    except (KeyError, OSError, RuntimeError):
        return False
