"""Writing a file so that it is there whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

__all__ = ["write_new", "write_whole"]


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file under a temporary name and rename it.

    Parameters
    ----------
    path : pathlib.Path
        Where it goes; its folder is made if need be. An existing file is replaced, so that the
        caller must know that it is the program's own.
    content : str or bytes
        Text is written as UTF-8 with line feeds.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    data = content.encode("utf-8") if isinstance(content, str) else content
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def write_new(path: Path, content: str | bytes) -> bool:
    """Write a file only where there is none.

    Parameters
    ----------
    path : pathlib.Path
        Where it goes; its folder is made if need be.
    content : str or bytes

    Returns
    -------
    bool
        False when a file was there; it is left as it is.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    data = content.encode("utf-8") if isinstance(content, str) else content
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        Path(name).chmod(0o644)
        # A hard link, unlike a rename, fails when the name is taken, even at the last moment.
        os.link(name, path)
    except FileExistsError:
        return False
    finally:
        Path(name).unlink(missing_ok=True)
    return True
