"""A disk without room, and a folder that may not be written: told in words, nothing lost."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from pinset.cli import main
from tests.spoiled.folders import copy_of, fingerprints
from trials.problems import Problems
from trials.writing import write_all, write_new

resource = pytest.importorskip("resource")
ROOT = Path(__file__).resolve().parents[2]

SCRIPT = """
import resource, signal, sys
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]), int(sys.argv[1])))
from pinset.cli import main
raise SystemExit(main(sys.argv[2:]))
"""


def with_room_for(size: int, words: list[str]) -> subprocess.CompletedProcess[str]:
    """Run a command in a process that can write no file larger than `size` bytes."""
    return subprocess.run(
        [sys.executable, "-c", SCRIPT, str(size), *words],
        cwd=ROOT, capture_output=True, text=True, check=False, timeout=120,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
    )  # fmt: skip


COMMANDS = {
    "new": ["new", "{}/fresh"],
    "layout": ["layout", "{}", "--redraw"],
    "report": ["report", "{}"],
}


ROOM = {"layout": 40_000}
"""More than the temporary files of the record book need, and less than the labels."""


@pytest.mark.parametrize(
    "name", [pytest.param(one, marks=pytest.mark.slow) if one == "report" else one
             for one in COMMANDS],
)  # fmt: skip
def test_no_room(tmp_path: Path, name: str) -> None:
    folder = copy_of("mixes", tmp_path)
    before = fingerprints(folder)
    done = with_room_for(ROOM.get(name, 1000), [word.format(folder) for word in COMMANDS[name]])
    assert done.returncode == 1, done.stderr
    assert "cannot be written" in done.stderr
    assert "Make room" in done.stderr
    assert "Traceback" not in done.stderr
    assert fingerprints(folder) == before
    assert main([word.format(folder) for word in COMMANDS[name]]) == 0


def as_anyone() -> dict[str, int]:
    """Run as someone without special rights, where the tests run with all of them."""
    return {"user": 65534, "group": 65534} if os.geteuid() == 0 else {}


@pytest.mark.parametrize("name", ["new", "layout"])
def test_a_folder_that_may_not_be_written(tmp_path: Path, name: str) -> None:
    place = Path("/var/tmp") / f"pinset-test-{os.getpid()}-{name}"
    place.mkdir()
    try:
        folder = copy_of("mixes", place)
        before = fingerprints(folder)
        for path in (*folder.rglob("*"), folder, place):
            path.chmod(0o555 if path.is_dir() else 0o444)
        try:
            done = subprocess.run(
                [sys.executable, "-m", "pinset", *(one.format(folder) for one in COMMANDS[name])],
                cwd=ROOT, capture_output=True, text=True, check=False, timeout=120,
                env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1", "HOME": str(tmp_path)},
                **as_anyone(),  # type: ignore[arg-type]
            )  # fmt: skip
        except PermissionError:
            pytest.skip("another user cannot reach the interpreter")
        assert done.returncode == 1, done.stderr
        assert "cannot be written (Permission denied)" in done.stderr
        assert fingerprints(folder) == before
    finally:
        place.chmod(0o755)
        for path in place.rglob("*"):
            path.chmod(0o755)
        shutil.rmtree(place)


def test_none_is_put_in_place_before_all_are_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.txt").write_text("old", encoding="utf-8")
    written, real = [], os.fsync

    def full(handle: int) -> None:
        written.append(handle)
        if len(written) == 2:
            raise OSError(28, "No space left on device")
        real(handle)

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(Problems, match="No space left on device"):
        write_all(tmp_path, {"a.txt": "new", "b.txt": "new"})
    assert {one.name for one in tmp_path.iterdir()} == {"a.txt"}
    assert (tmp_path / "a.txt").read_text(encoding="utf-8") == "old"


def test_a_disk_without_hard_links(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def without(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", without)
    assert write_new(tmp_path / "a.txt", "mine")
    assert not write_new(tmp_path / "a.txt", "yours")
    assert {one.name for one in tmp_path.iterdir()} == {"a.txt"}
    assert (tmp_path / "a.txt").read_text(encoding="utf-8") == "mine"
