"""Say on a terminal what takes long, and for how long it has."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["telling_of"]

PATIENCE_S = 2.0


@contextmanager
def telling_of(what: str) -> Iterator[None]:
    """Show what is going on and since when, on the error stream of a terminal and nowhere else.

    Nothing is shown of what takes less than two seconds, and nothing is left when it is done.

    Parameters
    ----------
    what : str
        Such as ``Reading the records``.
    """
    if not sys.stderr.isatty():
        yield
        return
    done = threading.Event()
    teller = threading.Thread(target=_tell, args=(what, done), daemon=True)
    teller.start()
    try:
        yield
    finally:
        done.set()
        teller.join()


def _tell(what: str, done: threading.Event) -> None:
    start, told = time.monotonic(), ""
    if done.wait(PATIENCE_S):
        return
    while True:
        told = f"{what}: {time.monotonic() - start:.0f} s"
        print(f"\r{told}", end="", file=sys.stderr, flush=True)
        if done.wait(1.0):
            break
    print(f"\r{' ' * len(told)}\r", end="", file=sys.stderr, flush=True)
