"""Trial folders to be spoiled, and what must hold however they were spoiled."""

from __future__ import annotations

import contextlib
import hashlib
import shutil
import signal
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

from pinset.demos import demo_folder
from trials.problems import Problems, Refused

LONGEST_S = 10
BYTE_ORDER_MARK = b"\xef\xbb\xbf"

Command = Callable[[Path], object]


def copy_of(story: str, place: Path) -> Path:
    """Copy a demo, without printing its sheets."""
    folder = place / story
    shutil.copytree(demo_folder() / story, folder)
    return folder


def fingerprints(folder: Path) -> dict[str, str]:
    """Give the content of every file, by path; a link is told by where it leads."""
    found = {}
    for path in sorted(folder.rglob("*")):
        name = str(path.relative_to(folder))
        if path.is_symlink():
            found[name] = f"leads to {path.readlink()}"
        elif path.is_file():
            found[name] = hashlib.sha256(path.read_bytes()).hexdigest()
    return found


class TookTooLongError(Exception):
    """Nothing came back in time."""


@contextlib.contextmanager
def in_time(seconds: int = LONGEST_S) -> Iterator[None]:
    """Raise when the body works longer, or waits six times as long (other work may be going on)."""

    def ring(*_: object) -> None:
        raise TookTooLongError(f"nothing came back within {seconds} s")

    before = [signal.signal(one, ring) for one in (signal.SIGPROF, signal.SIGALRM)]
    signal.setitimer(signal.ITIMER_PROF, seconds)
    signal.setitimer(signal.ITIMER_REAL, 6 * seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGPROF, before[0])
        signal.signal(signal.SIGALRM, before[1])


def told(folder: Path, command: Command) -> tuple[str, ...]:
    """Run a command on a folder; give what it said was wrong, empty where it went through.

    Anything raised but `Problems` or `Refused` comes out, and so fails the test.
    """
    before = fingerprints(folder)
    try:
        with in_time(), warnings.catch_warnings():
            warnings.simplefilter("error")
            command(folder)
        said: tuple[str, ...] = ()
    except Problems as error:
        mistakes = [one for one in error.problems if one.weight == "mistake"]
        assert mistakes, "stopped without a mistake"
        for one in error.problems:
            assert one.file, one
            assert one.what, one
            assert one.mend or one.weight == "doubt", one
            assert len(str(one)) < 3000, str(one)[:500]
        said = tuple(str(one) for one in mistakes)
    except Refused as error:
        said = (str(error),)
        assert len(said[0]) > 20
    for text in said:
        assert text.isprintable(), ascii(text)
    after = fingerprints(folder)
    assert {name: after.get(name) for name in before} == before, "a file of the grower changed"
    return said


def check(folder: Path) -> None:
    """Do what ``pinset check`` does."""
    from trials.records import read

    read(folder)


def analyse(folder: Path) -> None:
    """Do what ``pinset analyse`` does."""
    from analyses.questions import analyse
    from reports.results import results
    from reports.summary import summary
    from trials.records import read

    found = analyse(read(folder))
    results(found)
    text = summary(found, width=80)
    assert all(line.isprintable() for line in text.splitlines())


def layout(folder: Path) -> None:
    """Do what ``pinset layout`` does, on a copy without layout and records."""
    import datetime as dt
    import tempfile

    from pinset.drawing import draw_into

    with tempfile.TemporaryDirectory() as place:
        fresh = Path(place) / "trial"
        fresh.mkdir()
        plan = folder / "trial.toml"
        if plan.is_file():
            shutil.copy(plan, fresh)
        elif plan.is_dir():
            (fresh / "trial.toml").mkdir()
        draw_into(fresh, redraw=False, now=dt.datetime(2026, 3, 1, tzinfo=dt.UTC))


def check_group(folder: Path) -> None:
    """Read all that ``pinset pool`` reads."""
    from trials.together import read_together

    read_together([folder])


def pool(folder: Path) -> None:
    """Do what ``pinset pool`` does, with the report elsewhere."""
    import tempfile

    from pinset.pooling import pool_into

    with tempfile.TemporaryDirectory() as place:
        made = pool_into([folder], Path(place) / "report")
        assert made.page.is_file()


def invite(folder: Path) -> None:
    """Do what ``pinset invite --growers 8`` does, on a copy that has no folder of G and H yet."""
    import datetime as dt
    import tempfile

    from pinset.inviting import invite_into
    from trials.group.invitation import wanted_growers

    with tempfile.TemporaryDirectory() as place:
        fresh = Path(place) / "group"
        for one in "abcdef":
            (fresh / f"grower-{one}").mkdir(parents=True)
        for name in ("trial.toml", "group.toml"):
            if (folder / name).is_file():
                shutil.copy(folder / name, fresh)
        before = (fresh / "group.toml").read_bytes() if (fresh / "group.toml").is_file() else b""
        invite_into(fresh, wanted_growers("8"), now=dt.datetime(2026, 3, 1, tzinfo=dt.UTC))
        assert (fresh / "group.toml").read_bytes().startswith(before.removeprefix(BYTE_ORDER_MARK))
        assert [one.name for one in Path(place).iterdir()] == ["group"]
