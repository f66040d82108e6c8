"""A report as plain text, for a terminal of any width, without colour."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

from reports.parts.blocks import (
    Block,
    Bullets,
    Caution,
    Details,
    Figure,
    KeyAnswer,
    Paragraph,
    Report,
    Table,
)
from reports.wording.grammar import tied

__all__ = ["fill", "key_lines", "shown_width", "table_lines", "to_text"]

_NARROWEST = 40
_GUTTER = 2
_INDENT = "    "
_TIED = "\N{NO-BREAK SPACE}"


def to_text(report: Report, *, width: int = 80) -> str:
    """Give a report as plain text.

    Parameters
    ----------
    report : Report
        Pictures are told by their title and alternative text.
    width : int
        Columns; at least 40.
    """
    width = max(width, _NARROWEST)
    lines = [*_fill(report.title.upper(), width), ""]
    if report.invented:
        lines += [*_fill(report.invented, width), ""]
    if report.question:
        lines += [*_fill(report.question, width), ""]
    lines += key_lines(report.key, width)
    for section in report.sections:
        lines += ["", *_heading(section.heading, width)]
        for block in section.blocks:
            lines += [*_block(block, width), ""]
        lines.pop()
    return "\n".join(line.rstrip() for line in lines) + "\n"


def key_lines(key: KeyAnswer, width: int) -> list[str]:
    """Give the answer as lines.

    Parameters
    ----------
    key : KeyAnswer
        The first screen.
    width : int
        Columns.
    """
    lines = _fill(key.headline, width)
    many = len(key.sentences) > 1
    for text in key.sentences:
        lines += ["", *(_bullet(text, width) if many else _fill(text, width))]
    lines += ["", *_fill(key.basis, width)]
    for step in key.steps:
        lines += ["", *_fill(step, width)]
    return lines


def table_lines(table: Table, width: int) -> list[str]:
    """Set a table in columns, or, where it is too wide, row by row.

    Parameters
    ----------
    table : Table
        Finished text.
    width : int
        Columns of the terminal.
    """
    rows: list[Sequence[str]] = [table.columns, *table.rows]
    wide = [max(shown_width(row[place]) for row in rows) for place in range(len(table.columns))]
    caption = _fill(table.caption, width)
    if sum(wide) + _GUTTER * (len(wide) - 1) > width:
        return caption + _stacked(table, width)
    lines = []
    for row in rows:
        cells = [_pad(cell, wide[n], right=table.numeric[n]) for n, cell in enumerate(row)]
        lines.append((" " * _GUTTER).join(cells).rstrip())
    rule = (" " * _GUTTER).join("-" * size for size in wide)
    return [*caption, lines[0], rule, *lines[1:]]


def shown_width(text: str) -> int:
    """Count the columns a text takes in a terminal: two for wide signs, none for marks.

    Parameters
    ----------
    text : str
        One line.

    Examples
    --------
    >>> shown_width("bag"), shown_width("菌"), shown_width("e\u0301")
    (3, 2, 1)
    """
    wide = sum(2 if unicodedata.east_asian_width(sign) in "WF" else 1 for sign in text)
    return wide - sum(unicodedata.category(sign) in ("Mn", "Me", "Cf") for sign in text)


def _stacked(table: Table, width: int) -> list[str]:
    """Set a table row by row, a line a cell, the cells in line with each other."""
    names = table.columns[1:]
    broad = max((shown_width(name) for name in names), default=0) + _GUTTER
    longest = max((shown_width(cell) for row in table.rows for cell in row[1:]), default=0)
    in_line = len(_INDENT) + broad + longest <= width
    lines: list[str] = []
    for row in table.rows:
        lines += _bullet(row[0], width)
        for name, cell in zip(names, row[1:], strict=True):
            if in_line:
                lines.append(f"{_INDENT}{_pad(name, broad, right=False)}{cell}".rstrip())
            else:
                lines += _fill(f"{name}: {cell}", width, indent=_INDENT)
    return lines


def _block(block: Block, width: int) -> list[str]:
    if isinstance(block, Paragraph):
        return _fill(block.text, width)
    if isinstance(block, Bullets):
        return [line for item in block.items for line in _bullet(item, width)]
    if isinstance(block, Table):
        return table_lines(block, width)
    if isinstance(block, Figure):
        return _fill(f"[Picture: {block.title} {block.alt}]", width)
    if isinstance(block, Caution):
        return _fill(f"CAUTION, {block.title}: {block.text}", width)
    if isinstance(block, Details):
        lines = [*_fill(block.summary, width), "-" * min(width, shown_width(block.summary))]
        for inner in block.blocks:
            lines += [*_block(inner, width), ""]
        return lines[:-1]
    return key_lines(block, width)


def _heading(text: str, width: int) -> list[str]:
    lines = _fill(text, width)
    return [*lines, "=" * min(width, max(shown_width(line) for line in lines)), ""]


def _bullet(text: str, width: int) -> list[str]:
    return fill(text, width, first="- ", rest="  ") or ["-"]


def _fill(text: str, width: int, indent: str = "") -> list[str]:
    return fill(text, width, first=indent, rest=indent)


def fill(text: str, width: int, *, first: str = "", rest: str = "") -> list[str]:
    """Break a text into lines by what they take up in a terminal, never before a unit or sign.

    Parameters
    ----------
    text : str
        Words longer than a line are broken inside.
    width : int
        Columns.
    first, rest : str
        What stands before the first line and before the others.

    Examples
    --------
    >>> fill("oat bran and rice", 10, first="- ", rest="  ")
    ['- oat bran', '  and rice']
    >>> fill("菌菌菌", 4)
    ['菌菌', '菌']
    """
    lines: list[str] = []
    lead, line = first, ""
    for word in re.split(r"[ \t\n]+", tied(" ".join(text.split()))):
        longer = f"{line} {word}" if line else word
        if shown_width(lead + longer) <= width:
            line = longer
            continue
        if line:
            lines.append(lead + line)
            lead = rest
        *whole, line = _broken(word, width - shown_width(lead))
        for piece in whole:
            lines.append(lead + piece)
            lead = rest
    told = [*lines, lead + line] if line else lines
    return [one.replace(_TIED, " ") for one in told]


def _broken(word: str, room: int) -> list[str]:
    """Break a word that is wider than a line."""
    pieces = [""]
    for sign in word:
        if pieces[-1] and shown_width(pieces[-1] + sign) > room:
            pieces.append("")
        pieces[-1] += sign
    return pieces


def _pad(cell: str, size: int, *, right: bool) -> str:
    gap = " " * (size - shown_width(cell))
    return gap + cell if right else cell + gap
