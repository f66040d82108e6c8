"""The commands, as a grower would use them one after the other."""

from __future__ import annotations

import contextlib
import io
import json
import subprocess
import sys
import time
from pathlib import Path

import openpyxl
import pytest

from pinset.cli import COMMANDS, main

TOP = Path(__file__).resolve().parents[2]


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "pinset", *words],
        cwd=TOP, capture_output=True, text=True, encoding="utf-8", check=False,
    )  # fmt: skip


@pytest.mark.parametrize("question", ["yield", "contamination", "flush"])
def test_from_a_question_to_sheets(tmp_path: Path, question: str, capsys) -> None:
    folder = tmp_path / "my trial"
    assert main(["new", str(folder), "--question", question]) == 0
    assert main(["layout", str(folder)]) == 0
    told = capsys.readouterr().out
    assert "Next: " in told
    for name in ("layout.csv", "plan.lock", "records.xlsx", "print/shelf-map.html"):
        assert (folder / name).is_file()
    assert main(["check", str(folder)]) == 0
    assert "worth a look" in capsys.readouterr().out


def test_a_plan_is_never_overwritten(tmp_path: Path, capsys) -> None:
    assert main(["new", str(tmp_path)]) == 0
    (tmp_path / "trial.toml").write_text("mine")
    assert main(["new", str(tmp_path)]) == 2
    assert (tmp_path / "trial.toml").read_text() == "mine"
    assert "left as it is" in capsys.readouterr().err


def test_a_second_draw_is_refused_and_a_redraw_keeps_the_old(tmp_path: Path, capsys) -> None:
    assert main(["new", str(tmp_path), "--seed", "5"]) == 0
    assert main(["layout", str(tmp_path)]) == 0
    book = openpyxl.load_workbook(tmp_path / "records.xlsx")
    book["bags"]["D2"] = "finished"
    book.save(tmp_path / "records.xlsx")
    made = ("layout.csv", "plan.lock", "records.xlsx")
    before = {name: (tmp_path / name).read_bytes() for name in made}
    assert main(["layout", str(tmp_path)]) == 2
    assert "--redraw" in capsys.readouterr().err
    assert before == {name: (tmp_path / name).read_bytes() for name in before}
    plan = (tmp_path / "trial.toml").read_text()
    (tmp_path / "trial.toml").write_text(plan.replace("seed = 5", "seed = 6"))
    assert main(["layout", str(tmp_path), "--redraw"]) == 0
    kept = tmp_path / "earlier" / "1"
    assert before == {name: (kept / name).read_bytes() for name in before}
    assert (tmp_path / "layout.csv").read_bytes() != before["layout.csv"]
    assert main(["layout", str(tmp_path), "--redraw"]) == 0
    assert (tmp_path / "earlier" / "2" / "layout.csv").is_file()


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """Give the folder of the demo, and what the command said when it made it."""
    folder, said = tmp_path_factory.mktemp("told") / "demo", io.StringIO()
    with contextlib.redirect_stdout(said):
        assert main(["demo", str(folder), "--json"]) == 0
    return folder, said.getvalue()


def test_the_demo_is_told_and_can_be_run_again(demo: tuple[Path, str]) -> None:
    folder, said = demo
    told = json.loads(said)
    assert told["ok"]
    assert "gave more" in told["answer"]
    page = (folder / "report" / "report.html").read_text(encoding="utf-8")
    assert "Invented data" in page
    assert main(["demo", str(folder)]) == 0
    assert (folder / "report" / "report.html").read_text(encoding="utf-8") == page
    for sheet in (folder / "print").iterdir():
        assert "nvented" in sheet.read_text(encoding="utf-8"), sheet.name


def test_a_demo_never_lands_on_someones_files(tmp_path: Path) -> None:
    (tmp_path / "trial.toml").write_text("mine")
    assert main(["demo", str(tmp_path)]) == 2
    assert [one.name for one in tmp_path.iterdir()] == ["trial.toml"]
    other = tmp_path / "other"
    other.mkdir()
    (other / "letter.txt").write_text("dear")
    assert main(["demo", str(other)]) == 2
    assert [one.name for one in other.iterdir()] == ["letter.txt"]


def test_analyse_prints_the_answer_and_the_numbers(demo: tuple[Path, str], capsys) -> None:
    folder, _ = demo
    assert main(["analyse", str(folder)]) == 0
    assert "brewery grain gave more" in capsys.readouterr().out
    assert main(["analyse", str(folder), "--json"]) == 0
    numbers = json.loads(capsys.readouterr().out)
    written = json.loads((folder / "report" / "results.json").read_text(encoding="utf-8"))
    assert numbers == written
    first = written["findings"][0]
    assert first["planned"]
    assert first["verdict"] == "shown, size open"
    assert 0 < first["low"] < first["worthwhile"] < first["high"]


def test_wrong_use_is_2_and_no_traceback_is_seen(tmp_path: Path) -> None:
    for words in (["fly"], ["new"], ["report"], ["demo", str(tmp_path), "--story", "opera"]):
        done = run(*words)
        assert done.returncode == 2, words
        assert "Traceback" not in done.stderr
    done = run("check", str(tmp_path / "nowhere"))
    assert done.returncode == 1
    assert "pinset new" in done.stderr


def test_help_comes_at_once_and_names_every_command() -> None:
    started = time.perf_counter()
    done = run("--help")
    seconds = time.perf_counter() - started
    assert done.returncode == 0
    for name in COMMANDS:
        assert f"\n    {name}" in done.stdout
    # Ten times what it takes: this catches a heavy import, not a busy machine.
    assert seconds < 3


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys; from pinset.cli import _parser; _parser().format_help();"
        "print([m for m in ('numpy', 'pandas', 'scipy', 'matplotlib') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=TOP, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def test_readme_and_help_name_the_same_commands() -> None:
    readme = (TOP / "README.md").read_text(encoding="utf-8")
    for name in COMMANDS:
        assert f"pinset {name}" in readme, name
