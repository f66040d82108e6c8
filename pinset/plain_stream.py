"""What is printed, without signs that a terminal would obey instead of showing."""

from __future__ import annotations

import contextlib
import sys
import unicodedata
from collections.abc import Iterator
from typing import Any, TextIO, cast

__all__ = ["PlainStream", "plain_output", "shown"]

_KEPT = "\n\t"
# Isolates stay: they keep right-to-left names from turning the sentence around them.
_DIRECTIONS = frozenset("\u202a\u202b\u202c\u202d\u202e")


def shown(text: str) -> str:
    r"""Leave out control characters and marks that turn the direction of what follows.

    Examples
    --------
    >>> shown("bran\x1b[31m \u202eand\tokara")
    'bran[31m and\tokara'
    """
    if text.isprintable():
        return text
    return "".join(
        char
        for char in text
        if char in _KEPT or (unicodedata.category(char) != "Cc" and char not in _DIRECTIONS)
    )


class PlainStream:
    """A text stream that shows what it is given and obeys nothing in it.

    Parameters
    ----------
    stream : text stream
        Where it goes.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write a text; a progress bar may go back to the beginning of its line."""
        back = "\r" if text.startswith("\r") else ""
        self._stream.write(back + shown(text))
        return len(text)

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401
        return getattr(self._stream, name)


@contextlib.contextmanager
def plain_output() -> Iterator[None]:
    """Print plainly while the body runs, with a substitute for letters a terminal has not."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    out, err = cast(TextIO, PlainStream(sys.stdout)), cast(TextIO, PlainStream(sys.stderr))
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        yield
