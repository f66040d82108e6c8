"""A TOML file, from its bytes to plain values, or a `Problem` that says what cannot be read."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from trials.problems import Problem, Problems

__all__ = ["LONGEST_FILE", "read_text", "to_document"]

LONGEST_FILE = 400_000
_MOST_DOTS = 200
_DOT = re.compile(r"""[\w"'-][ \t]*\.[ \t]*(?=[\w"'-])""")
_MOST_SHOWN = 80
_AT_LINE = re.compile(r"\(at line (\d+), column \d+\)")
_BENT = re.compile("^[“”„‘’«»]|[“”„‘’«»]$")
_SLASHED = re.compile(r"^\d{1,4}[/.]\d{1,2}[/.]\d{1,4}$")
_COMMA = re.compile(r"^\d+,\d+$")


def read_text(path: Path) -> str:
    """Read a text file in UTF-8.

    Parameters
    ----------
    path : pathlib.Path
        It is there.

    Returns
    -------
    str

    Raises
    ------
    Problems
        It is too large, cannot be opened or is no UTF-8.
    """
    try:
        if path.stat().st_size > LONGEST_FILE:
            what = f"is larger than such a file can be ({LONGEST_FILE // 1000} kB)"
            _refuse(path.name, what, "Look at what is in it.")
        raw = path.read_bytes()
    except OSError as error:
        what = f"cannot be opened ({error.strerror or type(error).__name__})"
        mend = "Close other programs that hold it, and see that you may read it."
        raise Problems([Problem(file=path.name, what=what, mend=mend)]) from error
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        mend = "Save it as UTF-8 (most editors offer it under “Save as”)."
        what = f"line {line} holds a letter that cannot be read"
        raise Problems([Problem(file=path.name, what=what, mend=mend)]) from error


def to_document(text: str, file: str) -> dict[str, object]:
    """Turn TOML into plain values.

    Parameters
    ----------
    text : str
    file : str
        Its name, for messages.

    Returns
    -------
    dict

    Raises
    ------
    Problems
        It is no TOML.
    """
    for number, line in enumerate(text.splitlines(), start=1):
        # The library takes time with the square of the parts of a dotted key.
        if line.count(".") > _MOST_DOTS and len(_DOT.findall(line)) > _MOST_DOTS:
            _refuse(file, f"line {number} holds a name of too many parts", "Look at that line.")
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # ValueError: a number of too many digits, too
        line = _line_of(error, text)
        shown = f": {line}" if line else ""
        what = f"cannot be read as TOML: {_reason(error)}{shown}"
        raise Problems([Problem(file=file, what=what, mend=_mend(line))]) from error


def _line_of(error: Exception, text: str) -> str:
    """Give the line that a message names, without what stands around it; empty if it names none."""
    found = _AT_LINE.search(str(error))
    lines = text.splitlines()
    place = int(found[1]) - 1 if found else len(lines)
    line = lines[place][:_MOST_SHOWN] if place < len(lines) else ""
    return " ".join("".join(one if one.isprintable() else " " for one in line).split())


def _mend(line: str) -> str:
    """Say what is most likely wrong in a line."""
    value = line.partition("=")[2].partition("#")[0].strip()
    if _BENT.search(value):
        return "Its quotes are bent; write straight ones, as a plain-text editor does."
    if _SLASHED.match(value):
        return "Write the day as year-month-day, such as 2026-03-02, without quotes."
    if _COMMA.match(value):
        return "Write the number with a point, not with a comma."
    return "Look at that line: quotes around text, one “=” a line, dates without quotes."


def _reason(error: Exception) -> str:
    if isinstance(error, RecursionError):
        return "too deeply nested"
    if isinstance(error, tomllib.TOMLDecodeError):
        told = str(error)
        return told if len(told) < 300 else f"{told[:200]} ... {told[-60:]}"
    return "a number in it has too many digits"


def _refuse(file: str, what: str, mend: str) -> None:
    raise Problems([Problem(file=file, what=what, mend=mend)])
