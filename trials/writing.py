"""Writing files so that each is there whole or not at all, also when the work is cut short.

What is written goes into a file with a hidden temporary name first and is then renamed. Temporary
files that a run which was cut short left behind are swept away by the next one.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
import time
from collections.abc import Iterator, Mapping
from pathlib import Path

from trials.problems import Problem, Problems

__all__ = ["stage", "write_all", "write_new", "write_whole"]

_UNFINISHED = ".part"
_STALE_S = 600.0


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file under a temporary name and rename it.

    Parameters
    ----------
    path : pathlib.Path
        Where it goes; its folder is made if need be. An existing file is replaced, so that the
        caller must know that it is the program's own.
    content : str or bytes
        Text is written as UTF-8 with line feeds.

    Raises
    ------
    Problems
        It cannot be written.
    """
    write_all(path.parent, {path.name: content})


def write_all(folder: Path, contents: Mapping[str, str | bytes]) -> None:
    """Write several files: none is put in place before all are written.

    Parameters
    ----------
    folder : pathlib.Path
        Made if need be.
    contents : mapping of str to (str or bytes)
        By path inside the folder, in the order in which they are put in place.

    Raises
    ------
    Problems
        One cannot be written, or a link leads out of the folder.
    """
    with stage(folder, contents) as place:
        place()


class _Place:
    """Puts staged files in place, in order."""

    def __init__(self, staged: list[tuple[Path, Path]]) -> None:
        self._staged = staged

    def __call__(self) -> None:
        while self._staged:
            temporary, path = self._staged[0]
            with _told(path):
                temporary.replace(path)
            del self._staged[0]


@contextlib.contextmanager
def stage(folder: Path, contents: Mapping[str, str | bytes]) -> Iterator[_Place]:
    """Write files under temporary names; what is given back puts them in place when called.

    Parameters
    ----------
    folder : pathlib.Path
        Made if need be.
    contents : mapping of str to (str or bytes)
        By path inside the folder, in the order in which they are put in place.

    Raises
    ------
    Problems
        One cannot be written, or a link leads out of the folder.
    """
    staged: list[tuple[Path, Path]] = []
    try:
        for name, content in contents.items():
            path = folder / name
            _make_room(path, folder)
            with _told(path):
                staged.append((_write_aside(path, content), path))
        yield _Place(staged)
    finally:
        for temporary, _ in staged:
            temporary.unlink(missing_ok=True)


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

    Raises
    ------
    Problems
        It cannot be written.
    """
    _make_room(path, path.parent)
    with _told(path):
        temporary = _write_aside(path, content)
        try:
            # A hard link, unlike a rename, fails when the name is taken, even at the last moment.
            os.link(temporary, path)
        except FileExistsError:
            return False
        except OSError:  # a disk without hard links
            if path.exists() or path.is_symlink():
                return False
            temporary.rename(path)
        finally:
            temporary.unlink(missing_ok=True)
    return True


def _write_aside(path: Path, content: str | bytes) -> Path:
    """Write a file beside its place, under a name that no one looks for."""
    data = content.encode("utf-8", errors="replace") if isinstance(content, str) else content
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=_UNFINISHED, dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(0o644)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return Path(name)


def _make_room(path: Path, folder: Path) -> None:
    """Make the folder of a file, sweep what earlier runs left there, refuse a way out of it."""
    with _told(path):
        inside = path.parent.resolve().is_relative_to(folder.resolve())
        if inside:
            path.parent.mkdir(parents=True, exist_ok=True)
        for left in path.parent.glob(f".{path.name}.*{_UNFINISHED}"):
            with contextlib.suppress(OSError):
                if time.time() - left.stat().st_mtime > _STALE_S:
                    left.unlink()
    if not inside:
        mend = "Remove the link, or give it another name, and run the same command again."
        what = "was not written, because a link leads out of the folder"
        raise Problems([Problem(file=str(path), what=what, mend=mend)])
    if path.is_dir():
        mend = "Move the folder that has this name aside and run the same command again."
        raise Problems([Problem(file=str(path), what="cannot be written", mend=mend)])


@contextlib.contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn what the system says about a file that cannot be written into a `Problem`."""
    try:
        yield
    except OSError as error:
        what = f"cannot be written ({error.strerror or type(error).__name__})"
        mend = "Make room on the disk, or see that you may write there; then run the same again."
        raise Problems([Problem(file=str(path), what=what, mend=mend)]) from error
