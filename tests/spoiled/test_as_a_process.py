"""Spoiled folders through ``python -m pinset``, as a grower meets them; with a bound on memory."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from tests.spoiled.folders import copy_of, fingerprints
from tests.spoiled.test_spoiled_files import KINDS, SEED

resource = pytest.importorskip("resource")
ROOT = Path(__file__).resolve().parents[2]
MOST_MEMORY = 3 * 10**9


def run(words: list[str]) -> subprocess.CompletedProcess[str]:
    def bounded() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))

    return subprocess.run(
        [sys.executable, "-m", "pinset", *words],
        cwd=ROOT, capture_output=True, text=True, check=False, timeout=60, preexec_fn=bounded,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )  # fmt: skip


def spoil_and_run(name: str, number: int, place: Path) -> None:
    kind = KINDS[name]
    way = list(kind.spoilers)[number % len(kind.spoilers)]
    rng = np.random.default_rng([SEED, 1, number])
    file = kind.files[int(rng.integers(len(kind.files)))]
    folder = copy_of(file.split("/")[0], place / str(number))
    path = folder.joinpath(*file.split("/")[1:])
    path.write_bytes(kind.spoilers[way](path.read_bytes(), rng))
    before = fingerprints(folder)
    done = run(["check", str(folder)])
    assert done.returncode in (0, 1), (name, way, number, done.stderr)
    assert "Traceback" not in done.stderr, (name, way, number)
    assert "pinset itself" not in done.stderr, (name, way, number)
    if done.returncode == 1:
        assert "to mend" in done.stderr
    assert fingerprints(folder) == before


@pytest.mark.parametrize("name", KINDS)
def test_one_of_each(tmp_path: Path, name: str) -> None:
    spoil_and_run(name, 5, tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("name", KINDS)
def test_many(tmp_path: Path, name: str) -> None:
    for number in range(25):
        spoil_and_run(name, number, tmp_path)


def test_no_one_reads_on(tmp_path: Path) -> None:
    folder = copy_of("mixes", tmp_path)
    process = subprocess.Popen(
        [sys.executable, "-m", "pinset", "check", str(folder)],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    assert process.stdout is not None
    process.stdout.close()
    assert process.stderr is not None
    assert process.stderr.read() == b""
    process.stderr.close()
    assert process.wait() == 1


def test_a_mistake_of_our_own_is_told_without_a_traceback(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture
) -> None:
    import trials.records
    from pinset.cli import main

    def wrong(_: Path) -> None:
        raise ZeroDivisionError("as a test")

    monkeypatch.setattr(trials.records, "read", wrong)
    monkeypatch.delenv("PINSET_TRACEBACK", raising=False)
    assert main(["check", str(tmp_path)]) == 3
    told = capsys.readouterr().err
    assert "pinset itself" in told
    assert "ZeroDivisionError" in told
    assert "Traceback" not in told
    monkeypatch.setenv("PINSET_TRACEBACK", "1")
    with pytest.raises(ZeroDivisionError):
        main(["check", str(tmp_path)])


def test_thousands_of_mistakes_are_told_short(tmp_path: Path, capsys) -> None:
    from pinset.cli import main

    folder = copy_of("mixes", tmp_path)
    (folder / "records.xlsx").unlink()
    rows = "NOPE,finished,1,2,3\n" * 5000
    (folder / "bags.csv").write_text("code,fate,flush 1,flush 2,flush 3\n" + rows, "utf-8")
    assert main(["check", str(folder)]) == 1
    told = capsys.readouterr().err
    assert len(told.splitlines()) < 250
    assert "more; --json lists them all" in told
