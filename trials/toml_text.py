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
        mend = "Look at that line: quotes around text, one “=” a line, dates without quotes."
        what = f"cannot be read as TOML: {_reason(error)}"
        raise Problems([Problem(file=file, what=what, mend=mend)]) from error


def _reason(error: Exception) -> str:
    if isinstance(error, RecursionError):
        return "too deeply nested"
    if isinstance(error, tomllib.TOMLDecodeError):
        told = str(error)
        return told if len(told) < 300 else f"{told[:200]} ... {told[-60:]}"
    return "a number in it has too many digits"


def _refuse(file: str, what: str, mend: str) -> None:
    raise Problems([Problem(file=file, what=what, mend=mend)])
