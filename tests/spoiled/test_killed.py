"""Commands killed at random moments, and two at once: the folder is whole or they can be run again.

A kill is SIGKILL, which nothing can catch. The command runs in a process forked from one that has
loaded everything, so that the kill falls into the work and not into the loading. Seed 9.
"""

from __future__ import annotations

import multiprocessing
import os
import shutil
import signal
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import pinset.reporting  # noqa: F401  loaded before the fork, so that no kill falls into loading
from pinset.cli import main
from pinset.demos import demo_folder
from tests.spoiled.folders import check, copy_of, fingerprints, told

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and SIGKILL")
SEED = 9
GROWN = "trial.toml"


def _quiet(words: list[str]) -> int:
    out = os.open(os.devnull, os.O_WRONLY)
    os.dup2(out, 1)
    os.dup2(out, 2)
    return main(words)


def started(words: list[str]) -> int:
    """Run a command in a process of its own; give the number of the process."""
    child = os.fork()
    if child == 0:
        code = 70
        try:
            code = _quiet(words)
        finally:
            os._exit(code)
    return child


def ended(child: int) -> int:
    """Wait for a process; give its exit code, or minus the signal that ended it."""
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def plan_only(place: Path) -> Path:
    folder = copy_of("mixes", place)
    for name in ("layout.csv", "plan.lock", "records.xlsx"):
        (folder / name).unlink()
    return folder


def filled(place: Path) -> Path:
    return copy_of("mixes", place)


def long_filled(place: Path) -> Path:
    return copy_of("flushes", place)


def grown_together(place: Path) -> Path:
    return copy_of("group", place)


def nothing(place: Path) -> Path:
    place.mkdir(parents=True)
    return place / "new one"


COMMANDS: dict[str, tuple[Callable[[Path], Path], list[str]]] = {
    "new": (nothing, ["new", "{}", "--seed", "3"]),
    "layout": (plan_only, ["layout", "{}"]),
    "redraw": (filled, ["layout", "{}", "--redraw"]),
    "redraw with tables": (long_filled, ["layout", "{}", "--redraw"]),
    "report": (filled, ["report", "{}"]),
    "analyse": (filled, ["analyse", "{}"]),
    "check": (filled, ["check", "{}"]),
    "size": (plan_only, ["size", "{}"]),
    "rehearse": (plan_only, ["rehearse", "{}", "--trials", "400"]),
    "invite": (plan_only, ["invite", "{}", "--growers", "3"]),
    "pool": (grown_together, ["pool", "{}"]),
    "demo": (nothing, ["demo", "{}", "--story", "flushes"]),
}


WRITE_NOTHING = ("analyse", "check", "rehearse")


def kept_somewhere(before: dict[str, str], after: dict[str, str]) -> bool:
    """Whether every file of the grower is there still, under its name or moved aside unchanged."""
    held = set(after.values())
    return all(content in held for content in before.values())


def killed(name: str, folder: Path, after_s: float) -> int:
    child = started([word.format(folder) for word in COMMANDS[name][1]])
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    return ended(child)


def length_of(name: str, place: Path) -> float:
    """How long a command takes here, the second time it is run in this process's children."""
    made, words = COMMANDS[name]
    took = []
    for n in range(2):
        folder = made(place / f"timed {n}")
        began = time.monotonic()
        assert ended(started([word.format(folder) for word in words])) == 0
        took.append(time.monotonic() - began)
    return min(took)


def kill_and_run_again(name: str, place: Path, times: int) -> int:
    """Kill a command `times` at random moments; give how often the kill came before its end."""
    made, words = COMMANDS[name]
    whole = length_of(name, place)
    cut = 0
    for number in range(times):
        rng = np.random.default_rng([SEED, number])
        folder = made(place / str(number))
        before = fingerprints(folder)
        cut += killed(name, folder, rng.uniform(0, whole)) < 0
        assert kept_somewhere(before, fingerprints(folder)), (name, number)
        again = [word.format(folder) for word in words]
        code = ended(started(again))
        refused_because_done = name in ("new", "layout") and code == 2
        assert code == 0 or refused_because_done, (name, number, code, sorted(fingerprints(folder)))
        after = fingerprints(folder)
        assert kept_somewhere(before, after), (name, number)
        _assert_whole(name, folder, after)
        shutil.rmtree(folder)
    return cut


def _assert_whole(name: str, folder: Path, after: dict[str, str]) -> None:
    visible = {one for one in after if ".part" not in one}
    if name == "new":
        assert visible == {GROWN}
        return
    if "redraw" in name:
        records = ("bags.csv", "harvests.csv") if "tables" in name else ("records.xlsx",)
        for one in ("layout.csv", "plan.lock", *records):
            assert f"earlier/1/{one}" in visible
        assert not any(one in visible for one in ("bags.csv", "harvests.csv"))
    if name == "layout" or "redraw" in name:
        assert {"layout.csv", "plan.lock", "records.xlsx"} <= visible
        assert len([one for one in visible if one.startswith("print/")]) >= 5
        told(folder, check)
    if name == "invite":
        assert "group.toml" in visible
        for letter in "abc":
            for one in ("trial.toml", "layout.csv", "plan.lock", "records.xlsx"):
                assert f"grower-{letter}/{one}" in visible
    if name == "pool":
        assert {"group-report/report.html", "group-report/results.json"} <= visible
    if name in ("report", "demo"):
        assert {"report/report.html", "report/results.json", "report/report.md"} <= visible


@pytest.mark.parametrize("name", ["new", "layout", "redraw", "redraw with tables"])
def test_killed_a_few_times(tmp_path: Path, name: str) -> None:
    kill_and_run_again(name, tmp_path, 3)


@pytest.mark.slow
@pytest.mark.parametrize("name", COMMANDS)
def test_killed_fifty_times(tmp_path: Path, name: str) -> None:
    assert kill_and_run_again(name, tmp_path, 50) > 10


STEPS = ("rename", "replace", "link", "mkdir", "unlink")


def cut_at(monkeypatch: pytest.MonkeyPatch, step: int) -> None:
    """Kill this process at its `step`-th change of a file."""
    count = [0]

    def counting(inner):
        def call(*args: object, **kwargs: object) -> object:
            count[0] += 1
            if count[0] == step:
                os.kill(os.getpid(), signal.SIGKILL)
            return inner(*args, **kwargs)

        return call

    for one in STEPS:
        if hasattr(Path, one):
            monkeypatch.setattr(Path, one, counting(getattr(Path, one)))
    monkeypatch.setattr(os, "link", counting(os.link))


def cut_everywhere(name: str, place: Path, monkeypatch: pytest.MonkeyPatch, every: int) -> int:
    """Kill a command before each of its changes of a file in turn; give how many there were."""
    made, words = COMMANDS[name]
    for step in range(1, 400, every):
        folder = made(place / str(step))
        before = fingerprints(folder)
        child = os.fork()
        if child == 0:
            code = 70
            try:
                cut_at(monkeypatch, step)
                code = _quiet([word.format(folder) for word in words])
            finally:
                os._exit(code)
        if ended(child) == 0:
            return step
        assert kept_somewhere(before, fingerprints(folder)), (name, step)
        code = ended(started([word.format(folder) for word in words]))
        assert code == 0 or (name in ("new", "layout") and code == 2), (name, step, code)
        after = fingerprints(folder)
        assert kept_somewhere(before, after), (name, step)
        _assert_whole(name, folder, after)
        shutil.rmtree(folder)
    raise AssertionError("it never came to its end")


@pytest.mark.parametrize("name", ["new", "redraw"])
def test_killed_before_any_change(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert cut_everywhere(name, tmp_path, monkeypatch, 1 if name == "new" else 9) > 1


@pytest.mark.slow
@pytest.mark.parametrize("name", [one for one in COMMANDS if one not in WRITE_NOTHING])
def test_killed_before_every_change(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert cut_everywhere(name, tmp_path, monkeypatch, 1) > 2


def test_what_a_killed_run_left_is_swept_away(tmp_path: Path) -> None:
    folder = plan_only(tmp_path)
    left = folder / ".layout.csv.abc.part"
    left.write_text("half", encoding="utf-8")
    fresh = folder / ".plan.lock.abc.part"
    fresh.write_text("another run is at it", encoding="utf-8")
    os.utime(left, (1, 1))
    assert main(["layout", str(folder)]) == 0
    assert not left.exists()
    assert fresh.exists()


def test_a_layout_of_another_plan_is_not_carried_on(tmp_path: Path) -> None:
    folder = filled(tmp_path)
    (folder / "plan.lock").unlink()
    before = fingerprints(folder)
    assert main(["layout", str(folder)]) == 2  # its record book is filled in
    assert fingerprints(folder) == before


PAIRS = {
    "two layouts": (plan_only, ["layout", "{}"], ["layout", "{}"]),
    "two redraws": (filled, ["layout", "{}", "--redraw"], ["layout", "{}", "--redraw"]),
    "layout and check": (plan_only, ["layout", "{}"], ["check", "{}"]),
    "redraw and check": (filled, ["layout", "{}", "--redraw"], ["check", "{}"]),
    "redraw and report": (filled, ["layout", "{}", "--redraw"], ["report", "{}"]),
    "two reports": (filled, ["report", "{}"], ["report", "{}"]),
    "two invitations": (
        plan_only,
        ["invite", "{}", "--growers", "3"],
        ["invite", "{}", "--growers", "3"],
    ),
    "two pools": (grown_together, ["pool", "{}"], ["pool", "{}"]),
    "two new": (nothing, ["new", "{}"], ["new", "{}"]),
}


def at_once(name: str, place: Path, lag: float) -> None:
    made, one, other = PAIRS[name]
    folder = made(place)
    before = fingerprints(folder)
    children = [started([word.format(folder) for word in one])]
    time.sleep(lag)
    children.append(started([word.format(folder) for word in other]))
    codes = [ended(child) for child in children]
    assert set(codes) <= {0, 1, 2}, codes
    assert 0 in codes
    after = fingerprints(folder)
    assert kept_somewhere(before, after)
    assert not [name for name in after if ".part" in name]
    if name == "two layouts":
        assert sorted(codes) == [0, 2]
    if "layout" in one[0]:
        told(folder, check)
        assert (folder / "plan.lock").is_file()
        assert (folder / "layout.csv").is_file()
    if name == "two reports":
        assert codes == [0, 0]


@pytest.mark.parametrize("name", ["two layouts", "two redraws", "two new"])
def test_two_at_once(tmp_path: Path, name: str) -> None:
    at_once(name, tmp_path / "x", 0.0)


@pytest.mark.slow
@pytest.mark.parametrize("name", PAIRS)
def test_two_at_once_many_times(tmp_path: Path, name: str) -> None:
    for number in range(8):
        at_once(name, tmp_path / str(number), 0.15 * number)


def test_the_demos_are_untouched() -> None:
    assert multiprocessing.active_children() == []
    assert not list(demo_folder().rglob("*.part"))
