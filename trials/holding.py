"""Holding a trial folder, so that two runs of the program do not write into it at once."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Iterator
from pathlib import Path

from trials.problems import Refused

__all__ = ["holding"]

_LONGEST_WAIT_S = 60.0


@contextlib.contextmanager
def holding(folder: Path, *, wait: float = _LONGEST_WAIT_S) -> Iterator[None]:
    """Hold a folder, so that no other run of the program writes into it meanwhile.

    The hold ends with the process, however that ends. Where the system has no such holds, nothing
    is held.

    Parameters
    ----------
    folder : pathlib.Path
        Nothing is held where there is none.
    wait : float
        Seconds to wait for another run.

    Raises
    ------
    Refused
        Another run holds it still.
    """
    try:
        import fcntl

        handle = os.open(folder, os.O_RDONLY)
    except (ImportError, OSError):
        yield
        return
    try:
        until = time.monotonic() + wait
        while True:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                if time.monotonic() > until:
                    raise Refused(
                        f"Another pinset command is at work in “{folder}”. Wait until it is done "
                        "and run this one again."
                    ) from None
                time.sleep(0.05)
            except OSError:  # a network disk without holds
                break
        yield
    finally:
        os.close(handle)
